// Numbers of several countries by the npm package google-libphonenumber, for
// tests/peers/numbers: for each a line of JSON with the ways people and
// networks write it and what the library reads in them.
'use strict';
const { PhoneNumberUtil, PhoneNumberFormat, PhoneNumberType } =
  require('google-libphonenumber');

const util = PhoneNumberUtil.getInstance();
const types = [PhoneNumberType.MOBILE, PhoneNumberType.FIXED_LINE];
let state = 4711;
const random = (n) => {
  state = (Math.imul(state, 1103515245) + 12345) >>> 0;
  return (state >>> 8) % n;
};

// Valid ones beside the library's example: its last four digits by chance.
function numbersOf(region, type, wanted) {
  const example = util.getExampleNumberForType(region, type);
  const found = [];
  if (!example) return found;
  const head = util.format(example, PhoneNumberFormat.E164).slice(0, -4);
  for (let i = 0; i < 400 && found.length < wanted; i += 1) {
    const tail = String(random(10000)).padStart(4, '0');
    const n = util.parse(head + tail);
    if (util.isValidNumberForRegion(n, region)) found.push(n);
  }
  return found;
}

for (const region of process.argv.slice(2)) {
  for (const type of types) {
    for (const n of numbersOf(region, type, 25)) {
      const whole = util.format(n, PhoneNumberFormat.E164);
      const national = util.format(n, PhoneNumberFormat.NATIONAL);
      const code = String(n.getCountryCode());
      const bare = util.getNationalSignificantNumber(n);
      const raws = [
        whole, whole.slice(1), `00${whole.slice(1)}`, bare, national,
        national.replace(/\D/g, ''),
        util.format(n, PhoneNumberFormat.INTERNATIONAL),
      ];
      const read = raws.map((raw) => {
        try {
          return util.format(util.parse(raw, region), PhoneNumberFormat.E164);
        } catch (e) {
          return '';
        }
      });
      console.log(JSON.stringify({ region, code, digits: bare.length, whole, raws, read }));
    }
  }
}

// A message centre by the npm package "smpp" (0.5.1), for tests/peers/smpp.
// Prints a line of JSON for what happens; "deliver JSON" on its input sends.
'use strict';
const smpp = require('smpp');
const readline = require('readline');

const say = (o) => console.log(JSON.stringify(o));
let bound = null;
let count = 0;

const server = smpp.createServer({}, (session) => {
  session.on('error', (e) => say({ error: String(e) }));
  session.on('pdu', (pdu) => say({ got: pdu.command, status: pdu.command_status }));
  session.on('bind_transceiver', (pdu) => {
    if (pdu.password !== 'secret08') {
      session.send(pdu.response({ command_status: smpp.ESME_RINVPASWD }));
      return;
    }
    session.send(pdu.response({ system_id: 'npm', sc_interface_version: 0x34 }));
    bound = session;
    say({ bound: pdu.system_id, version: pdu.interface_version });
  });
  session.on('submit_sm', (pdu) => {
    count += 1;
    const id = String(1000 + count);
    const m = pdu.short_message || {};
    say({
      submit: id, to: pdu.destination_addr, from: pdu.source_addr,
      coding: pdu.data_coding, esm: pdu.esm_class,
      registered: pdu.registered_delivery,
      validity: pdu.validity_period ? String(pdu.validity_period) : '',
      text: m.message !== undefined ? m.message.toString() : String(m),
      udh: m.udh ? m.udh.map((b) => b.toString('hex')) : null,
      payload: pdu.message_payload ? String(pdu.message_payload.message) : null,
      sar: [pdu.sar_msg_ref_num, pdu.sar_total_segments, pdu.sar_segment_seqnum],
      op: pdu.ussd_service_op, service: pdu.service_type,
      session: pdu.its_session_info ? pdu.its_session_info.toString('hex') : null,
    });
    if (pdu.ussd_service_op !== undefined) {
      session.send(pdu.response({ message_id: id }));
      return;
    }
    if (count === 2) { // one "slower", to be tried again
      session.send(pdu.response({ command_status: smpp.ESME_RTHROTTLED }));
      return;
    }
    session.send(pdu.response({ message_id: id }));
    session.deliver_sm({
      source_addr: pdu.destination_addr, destination_addr: pdu.source_addr,
      esm_class: 4, receipted_message_id: id, message_state: 2,
      short_message: `id:${id} sub:001 dlvrd:001 submit date:2611251400 done date:2611251401 stat:DELIVRD err:000 text:x`,
    }, (resp) => say({ receipt_answered: resp.command_status }));
  });
  session.on('unbind', (pdu) => {
    session.send(pdu.response());
    say({ unbound: true });
    session.close();
  });
  session.on('enquire_link', (pdu) => session.send(pdu.response()));
});
server.listen(Number(process.argv[2]), '127.0.0.1', () => say({ listening: true }));

readline.createInterface({ input: process.stdin }).on('line', (line) => {
  const order = JSON.parse(line);
  if (order.octets) order.short_message = Buffer.from(order.octets, 'hex');
  delete order.octets;
  if (order.its_session_info) {
    order.its_session_info = Buffer.from(order.its_session_info, 'hex');
  }
  bound.deliver_sm(order, (resp) => say({ answered: resp.command_status }));
}).on('close', () => process.exit(0));

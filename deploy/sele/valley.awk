# valley.awk - the notebook and the texts of a made-up valley, as CSV.
# Given: folder, today (YYYY-MM-DD), seed. Nothing in it is real.
#
# What is going on in the valley, for whoever looks at the demonstration:
#   batch 0214 was dried in a hurry and its kiln opened too soon: its pots
#       crack from their second month on, several times as often as others;
#   pot 0210-004 grows slower, scrubbing helps less each time;
#   a family in Quistel has had rice-water stools since yesterday;
#   everything else is an ordinary year.

BEGIN {
    FIRST_BATCH = 206; BATCHES = 14; BAD_BATCH = 214; SLOW_BATCH = 210
    HAZARD_DAY = 0.006 / 30.4375    # breakage of an ordinary pot
    WARM = 90; WARM_HAZARD_DAY = 0.16 / 30.4375 # the bad batch, once it starts
    state = seed % 2147483647; if (state == 0) state = 7
    for (i = 0; i < 20; i++) roll()
    now = day_number(today)
    places(); people(); kiln(); homes_and_pots(); life(); three(); write_all()
}

# ---- chance: Lehmer's generator, exact in a double (Park & Miller 1988) ----
function roll() { state = (state * 16807) % 2147483647; return state / 2147483647 }
function between(a, b) { return a + (b - a) * roll() }
function whole(a, b) { return a + int((b - a + 1) * roll()) }
function normal(mean, sd,   i, s) {
    s = 0
    for (i = 0; i < 12; i++) s += roll()
    return mean + sd * (s - 6)
}
function pick(list,   n, words) { n = split(list, words, "|"); return words[whole(1, n)] }
function nth(list, n,   words) { split(list, words, "|"); return words[n] }

# ---- days: civil calendar to and from a running number ----
function day_number(text,   y, m, d) {
    y = substr(text, 1, 4) + 0; m = substr(text, 6, 2) + 0; d = substr(text, 9, 2) + 0
    if (m <= 2) { y--; m += 12 }
    return 365 * y + int(y / 4) - int(y / 100) + int(y / 400) + \
        int((153 * (m - 3) + 2) / 5) + d - 719469
}
function day_text(n,   z, era, doe, yoe, doy, mp, d, m, y) {
    z = n + 719468; era = int(z / 146097); doe = z - era * 146097
    yoe = int((doe - int(doe / 1460) + int(doe / 36524) - int(doe / 146096)) / 365)
    doy = doe - (365 * yoe + int(yoe / 4) - int(yoe / 100))
    mp = int((5 * doy + 2) / 153)
    d = doy - int((153 * mp + 2) / 5) + 1
    m = mp < 10 ? mp + 3 : mp - 9
    y = yoe + era * 400 + (m <= 2 ? 1 : 0)
    return sprintf("%04d-%02d-%02d", y, m, d)
}
function moment(day) { # a text at a waking hour of that day, UTC
    return sprintf("%sT%02d:%02d:%02dZ", day_text(day), whole(5, 19), whole(0, 59), whole(0, 59))
}

# ---- serials: ISO/IEC 7064 MOD 97-10 ----
function check_digits(number) { return sprintf("%02d", 98 - (number * 100) % 97) }
function serial(batch, pot) { return sprintf("%04d%03d", batch, pot) check_digits(batch * 1000 + pot) }
function stamped(s) { return substr(s, 1, 4) "-" substr(s, 5, 3) "-" substr(s, 8, 2) }

# ---- the pot: Darcy flow through a frustum under falling head (docs/science.md) ----
function head_factor(h,   m, s) { # F(H), m2
    m = (0.120 - 0.095) / 0.220; s = sqrt(1 + m * m)
    return PI * s / 0.012 * (0.095 * h * h + m * h * h * h / 3) + PI * 0.095 * 0.095 * h / 0.015
}
function surface(h,   r) { r = 0.095 + (0.120 - 0.095) / 0.220 * h; return PI * r * r }
function level_after(k, h, hours,   i, n, dt) { # m
    n = 20 + int(10 * hours); dt = hours * 3600 / n
    for (i = 0; i < n && h > 0.001; i++) h -= dt * k * head_factor(h) / surface(h)
    return h > 0.001 ? h : 0.001
}
function volume(h,   r) { r = 0.095 + (0.120 - 0.095) / 0.220 * h; return PI * h / 3 * (0.095 * 0.095 + 0.095 * r + r * r) * 1000 }
function conductivity(first_hour,   low, high, mid, i) {
    low = 1e-9; high = 5e-6
    for (i = 0; i < 40; i++) {
        mid = (low + high) / 2
        if (volume(0.220) - volume(level_after(mid, 0.220, 1)) < first_hour) low = mid; else high = mid
    }
    return mid
}
# What a family says of a pot that gives `litres` in its first hour.
function measure(lang, litres,   k, hours, fingers) {
    hours = whole(6, 10); k = conductivity(litres)
    fingers = int((0.220 - level_after(k, 0.220, hours)) / 0.018 + 0.5)
    if (fingers < 1) fingers = 1
    if (fingers > 10) { hours = 3; fingers = int((0.220 - level_after(k, 0.220, 3)) / 0.018 + 0.5) }
    if (roll() < 0.5) return fingers "f " hours "h"
    if (lang == "es") return "baja " fingers " dedos " hours " horas"
    return "down " fingers " fingers in " hours " hours"
}

# ---- who and where ----
function places(   list, i, j, n, parts) {
    PI = 3.14159265358979
    n = split("Quistel,es,19,0.412,0.181,0.72|Harlo Ford,en,21,0.251,0.262,0.65|Umbresk,en,18,0.455,0.229,0.41|Veyra,es,22,0.187,0.338|Pirrow,en,20,0.296,0.201|" \
        "Sanquel,es,23,0.121,0.395|Lodvey,en,17,0.478,0.143|Brunoa,es,21,0.214,0.219|Tamsel,en,19,0.352,0.257|Orrish Mill,en,20,0.318,0.316", list, "|")
    PLACES = n
    for (i = 1; i <= n; i++) {
        split(list[i], parts, ",")
        place[i] = parts[1]; place_lang[i] = parts[2]; place_mean[i] = parts[3]
        place_spot[i] = parts[4] "," parts[5] # where there is only sea
        place_share[i] = parts[6] # told of, by a survey that never was
    }
}
function water(p, month) { return place_mean[p] + 4 * cos((month - 7) * PI / 6) }
function month_of(day) { return substr(day_text(day), 6, 2) + 0 }
function people() {
    pressers = "Ansa|Delo|Mirte"; pits = "river bend|old terrace"; kilns = "A|B"
    given_en = "crack|cracked|c|pot is cracked|broken|leak|it leaks"
    given_es = "grieta|c|roto|fuga|la olla tiene grieta"
    sometimes_en = "thank you|good morning|please call me|ok|when is market day"
    sometimes_es = "gracias|buenos dias|llameme por favor|ok"
}

# ---- the workshop ----
function kiln(   b, i, pressed, dried, fired, silvered, n, bad) {
    for (i = 0; i < BATCHES; i++) {
        b = FIRST_BATCH + i; bad = (b == BAD_BATCH)
        pressed = now - 440 + 29 * i + whole(-2, 2)
        dried = bad ? 5 : whole(11, 16)
        fired = pressed + dried; silvered = fired + whole(6, 9)
        batch_ready[b] = silvered + 2
        n = bad ? 75 : 50 # a kiln filled too full, too
        batch_line[b] = b4(b) "," day_text(pressed) ",Sele kiln,frustum," pick(pits) "," \
            (bad ? "Delo" : pick(pressers)) "," sprintf("%.1f", normal(50, 1.2)) "," \
            whole(18, 22) "," dried "," day_text(fired) "," (bad ? "B" : pick(kilns)) ",012," \
            (bad ? 902 : int(normal(866, 6))) "," whole(35, 50) "," (bad ? 14 : whole(28, 34)) "," \
            day_text(silvered) "," sprintf("%.0f", normal(64, 2))
        for (p = 1; p <= n; p++) {
            pot_shelf[serial(b, p)] = nth("bottom|low|middle|high|top", int((p - 1) * 5 / n) + 1)
            pot_made(b, p, silvered - 3)
        }
    }
}
function b4(b) { return sprintf("%04d", b) }
function pot_made(b, p, tested,   s, litres, at_c, accepted) {
    s = serial(b, p); pots[++POTS] = s; pot_batch[s] = b
    litres = normal(b == SLOW_BATCH && p == 4 ? 1.7 : 2.0, 0.32)
    if (litres < 0.4) litres = 0.4
    at_c = 20 + whole(-2, 3)
    accepted = litres >= 1.0 && litres <= 3.0 && roll() > 0.02
    if (b == BAD_BATCH && p == 73) accepted = 1 # the number on every page
    pot_litres[s] = litres; pot_sound[s] = accepted
    test_line[++TESTS] = s "," day_text(tested) "," sprintf("%.2f", litres * thick(at_c)) ",60," at_c "," (accepted ? "yes" : "no")
}
# Water at another temperature runs through more slowly (2 % a degree, near enough here).
function thick(at_c) { return 1 - 0.022 * (25 - at_c) }

# ---- who holds what ----
function homes_and_pots(   i, s, b, day, p) {
    for (i = 1; i <= POTS; i++) {
        s = pots[i]; b = pot_batch[s]
        if (!pot_sound[s]) continue
        if (roll() < (b == BAD_BATCH ? 0.33 : 0.30)) { stock[b] = stock[b] " " s; continue } # on the shelf
        day = batch_ready[b] + whole(3, 24)
        if (day > now - 3) continue
        p = (i + b * 3) % PLACES + 1
        if (i % 3 == 0) p = whole(1, PLACES)
        if (s == serial(SLOW_BATCH, 4)) p = 3
        give(s, new_home(p), day)
    }
    slow_pot = serial(SLOW_BATCH, 4)
    if (!(slow_pot in pot_home)) { pot_sound[slow_pot] = 1; give(slow_pot, new_home(3), batch_ready[SLOW_BATCH] + 8) }
}
function new_home(p,   h) {
    h = ++HOMES
    home_code[h] = sprintf("S%03d", h); home_place[h] = p
    home_lang[h] = roll() < 0.85 ? place_lang[p] : (place_lang[p] == "en" ? "es" : "en")
    home_phone[h] = roll() < 0.9 ? sprintf("+99970%06d", 10000 + h * 7) : ""
    home_people[h] = whole(2, 9)
    return h
}
function give(s, h, day) {
    pot_home[s] = h; pot_given[s] = day; home_pot[h] = s
    given[++HANDED] = s; handed_home[HANDED] = h; handed_day[HANDED] = day
    ended[HANDED] = ""; reason[HANDED] = ""; pot_hand[s] = HANDED
}

# ---- a year of it ----
function life(   i, n) {
    n = HANDED
    for (i = 1; i <= n; i++) if (given[i] != slow_pot) one_pot(given[i])
    the_slow_pot(); the_danger_sign(); the_chatter()
}
function one_pot(s,   h, day, fails, age, bad, next_word) {
    h = pot_home[s]; bad = (pot_batch[s] == BAD_BATCH)
    next_word = pot_given[s] + whole(20, 110)
    for (day = pot_given[s] + 2; day < now; day++) {
        age = day - pot_given[s]
        if (roll() < HAZARD_DAY + (bad && age > WARM ? WARM_HAZARD_DAY : 0)) {
            fails = day; break
        }
        if (day == next_word) {
            how_it_runs(s, h, day, age)
            next_word = day + whole(60, 150)
        }
    }
    if (fails) it_failed(s, h, fails)
}
function how_it_runs(s, h, day, age,   lang, litres, chance) {
    lang = home_lang[h]; chance = roll()
    litres = pot_litres[s] * exp(-0.02 * age / 30) * thick(water(home_place[h], month_of(day)))
    if (home_phone[h] == "") return
    if (chance < 0.35) text(day, h, (lang == "es" ? "lento " : "slow ") measure(lang, litres), s)
    else if (chance < 0.55) text(day, h, lang == "es" ? "bien" : "good", s)
    else if (chance < 0.65) text(day, h, lang == "es" ? "lavado bien" : "washed good", s)
    else if (chance < 0.72) text(day, h, lang == "es" ? "pieza llave" : "part tap", s)
    else if (chance < 0.76) text(day, h, lang == "es" ? "enfermo 1" : "ill 1", s)
    else if (chance < 0.78) text(day, h, lang == "es" ? "sin uso" : "unused", s)
}
function it_failed(s, h, day,   lang, said, days_until, spare) {
    lang = home_lang[h]; days_until = whole(0, 4)
    said = lang == "es" ? pick(given_es) : pick(given_en)
    if (home_phone[h] == "" || day + days_until >= now) return # nobody has told yet
    if (pot_batch[s] == BAD_BATCH && ++bad_told > BAD_TOLD_MOST()) return
    if (roll() < 0.12) text_raw(day + days_until, h, wrong_digit(s) " " said)
    text_raw(day + days_until, h, stamped(s) " " said)
    told[s] = 1
    spare = take_spare(day + 9)
    if (spare != "" && roll() < 0.8 && day + 16 < now) {
        ended[pot_hand[s]] = day + 9; reason[pot_hand[s]] = "failed"
        give(spare, h, day + 9)
    }
}
# So many failures of the bad batch have been told of: one more is the alarm.
function BAD_TOLD_MOST() { return 7 }
function take_spare(day,   b, list, n, rest, i) {
    for (b = FIRST_BATCH; b < FIRST_BATCH + BATCHES; b++) {
        if (b == BAD_BATCH || batch_ready[b] > day || stock[b] == "") continue
        n = split(stock[b], list, " "); rest = ""
        for (i = 2; i <= n; i++) rest = rest " " list[i]
        stock[b] = rest
        return list[1]
    }
    return ""
}
function the_slow_pot(   h, day, litres, i) {
    h = pot_home[slow_pot]; home_phone[h] = "+99970010004"; home_lang[h] = "en"
    split("1.5 1.3 1.1 0.85 0.95 0.70", litres, " ")
    for (i = 1; i <= 6; i++) {
        day = now - 170 + 28 * (i - 1)
        text(day, h, "slow " measure("en", litres[i] * thick(water(3, month_of(day)))), slow_pot)
        if (i >= 4) text(day + 3, h, "washed", slow_pot)
    }
}
function the_danger_sign(   h) {
    for (h = 1; h <= HOMES; h++)
        if (home_place[h] == 1 && home_phone[h] != "" && pot_batch[home_pot[h]] != BAD_BATCH && !told[home_pot[h]]) break
    danger_home = h
    text(now - 1, h, home_lang[h] == "es" ? "enfermo 2 u1 agua de arroz" : "ill 2 u1 ricewater", home_pot[h])
}
function the_chatter(   i, h) {
    for (i = 0; i < 60; i++) {
        h = whole(1, HOMES)
        if (home_phone[h] == "") continue
        text_raw(now - whole(2, 300), h, home_lang[h] == "es" ? pick(sometimes_es) : pick(sometimes_en))
    }
}
function wrong_digit(s,   d) { # the last pot digit is one too many
    d = (substr(s, 7, 1) + 1) % 10
    return substr(s, 1, 6) d substr(s, 8, 2)
}
# A report with the serial written in one way or another, or left out.
function text(day, h, words, s,   how) {
    how = roll(); told[s] = 1
    if (how < 0.45) text_raw(day, h, stamped(s) " " words)
    else if (how < 0.65) text_raw(day, h, s " " words)
    else if (how < 0.80) text_raw(day, h, words " " s)
    else if (how < 0.90) text_raw(day, h, toupper(substr(words, 1, 1)) substr(words, 2) " " stamped(s))
    else if (home_pot[h] == s && day >= pot_given[s]) text_raw(day, h, words)
    else text_raw(day, h, stamped(s) " " words)
}
function text_raw(day, h, words,   at) {
    if (day >= now || home_phone[h] == "") return
    at = moment(day)
    text_at[++TEXTS] = at
    text_line[TEXTS] = at "," home_phone[h] "," words "," sprintf("sele-%05d", TEXTS)
}

# ---- three texts for whoever tries it ----
function three(   i, s, h, n, crack, other, ill) {
    n = HANDED
    for (i = 1; i <= n; i++) {
        s = given[i]; h = handed_home[i]
        if (ended[i] != "" || told[s] || home_phone[h] == "") continue
        if (!crack && pot_batch[s] == BAD_BATCH && home_lang[h] == "en") crack = i
        else if (!other && pot_batch[s] != BAD_BATCH && home_lang[h] == "en" && h != danger_home) other = i
        else if (!ill && pot_batch[s] != BAD_BATCH && home_lang[h] == "es" && h != danger_home) ill = i
    }
    say[1] = home_phone[handed_home[crack]] "\t" stamped(given[crack]) " crack\tfiled: do not drink from it; one more of batch " b4(BAD_BATCH)
    say[2] = home_phone[handed_home[other]] "\t" stamped(wrong_digit(given[other])) " slow 3f 9h\tasked: the number does not add up, which digits to read again"
    say[3] = home_phone[handed_home[ill]] "\t" stamped(given[ill]) " enfermo 2 u1 sangre\tfiled, in Spanish: a danger sign, to a health worker now; the coordinator is told"
}

# ---- writing ----
function write_all() {
    write_places(); write_batches(); write_homes(); write_texts()
}
function write_places(   f, i, m, row) {
    f = folder "/places.csv"
    row = "place,language,latitude,longitude,reported_share"
    split("jan feb mar apr may jun jul aug sep oct nov dec", months, " ")
    for (m = 1; m <= 12; m++) row = row ",water_c_" months[m]
    print row > f
    for (i = 1; i <= PLACES; i++) {
        row = place[i] "," place_lang[i] "," place_spot[i] "," place_share[i]
        for (m = 1; m <= 12; m++) row = row "," sprintf("%.1f", water(i, m))
        print row > f
    }
    close(f)
}
function write_batches(   f, b, i, g) {
    f = folder "/batches.csv"
    print "batch,pressed,workshop,mould,clay_pit,presser,sawdust_pct,sawdust_mesh,drying_days,fired,kiln,cone,peak_c,soak_min,cooling_h,silvered,silver_mg" > f
    for (b = FIRST_BATCH; b < FIRST_BATCH + BATCHES; b++) print batch_line[b] > f
    close(f)
    f = folder "/pots.csv"; g = folder "/tests.csv"
    print "serial,shelf" > f
    for (i = 1; i <= POTS; i++) print stamped(pots[i]) "," pot_shelf[pots[i]] > f
    close(f)
    print "serial,tested,litres,minutes,water_c,accepted" > g
    for (i = 1; i <= TESTS; i++) print test_line[i] > g
    close(g)
}
function write_homes(   f, g, h, i) {
    f = folder "/homes.csv"; g = folder "/handovers.csv"
    print "home,place,phone,language,people,consent" > f
    for (h = 1; h <= HOMES; h++) print home_code[h] "," place[home_place[h]] "," home_phone[h] "," home_lang[h] "," home_people[h] ",yes" > f
    close(f)
    print "serial,home,given,ended,reason" > g
    for (i = 1; i <= HANDED; i++) print stamped(given[i]) "," home_code[handed_home[i]] "," day_text(handed_day[i]) "," (ended[i] == "" ? "" : day_text(ended[i])) "," reason[i] > g
    close(g)
}
# In the order of time; a shell sort, for the few thousand there are.
function write_texts(   f, i, j, gap, line, at) {
    for (gap = int(TEXTS / 2); gap > 0; gap = int(gap / 2))
        for (i = gap + 1; i <= TEXTS; i++) {
            at = text_at[i]; line = text_line[i]
            for (j = i; j > gap && text_at[j - gap] > at; j -= gap) { text_at[j] = text_at[j - gap]; text_line[j] = text_line[j - gap] }
            text_at[j] = at; text_line[j] = line
        }
    f = folder "/texts.csv"
    print "at,from,text,id" > f
    for (i = 1; i <= TEXTS; i++) print text_line[i] > f
    close(f)
    f = folder "/three.tsv"
    for (i = 1; i <= 3; i++) print say[i] > f
    close(f)
}

"use strict";
// The sums of the pocket page. Pure functions on metric numbers, each the twin of a Python function of the same name;
// a test runs both on the same inputs and compares.

const SUMS = (() => {
  const WORTH = 0.05;
  const SEEN_Z = 1.645;
  const DOUBT_Z = 2.0;
  const BELIEVE_Z = 3.0;
  const MATCH_Z = 2.0;

  class OutOfRange extends Error {}

  const refuse = (field, text) => {
    const error = new OutOfRange(text);
    error.field = field;
    throw error;
  };

  // -- fill check ---------------------------------------------------------------------------------------------------------
  // fill_check: does what went out of the bin agree with the hectares sown?
  function fillCheck(areaHa, putKg, levelKg, doseKgHa, more) {
    const o = Object.assign({ levelBeforeKg: 0, doseSd: 0.02, overlap: [0, 0.03], levelBeforeSdKg: 0, worth: WORTH }, more);
    if (!(areaHa > 0)) refuse("area", "The area sown must be above 0.");
    if (!(doseKgHa > 0)) refuse("dose", "The rate must be above 0.");
    if (!(putKg >= 0)) refuse("put", "What was put in cannot be below 0.");
    if (!(levelKg >= 0)) refuse("level", "The level cannot be below 0.");
    if (!(o.levelBeforeKg >= 0)) refuse("before", "The level before cannot be below 0.");
    const used = o.levelBeforeKg + putKg - levelKg;
    const expected = doseKgHa * areaHa;
    const massSd = Math.sqrt(o.putSdKg ** 2 + o.levelSdKg ** 2 + o.levelBeforeSdKg ** 2);
    if (used < -3 * massSd - 1e-9) refuse("level", "More is left than was ever in the bin: was a fill left out?");
    const parts = [o.putSdKg / expected, o.levelSdKg / expected, o.levelBeforeSdKg / expected, o.doseSd];
    const ratio = used / expected;
    const sd = Math.sqrt(parts.reduce((sum, part) => sum + part * part, 0));
    const low = 1 + o.overlap[0];
    const high = 1 + o.overlap[1];
    const outside = Math.max(0, ratio - high) - Math.max(0, low - ratio);
    const z = outside === 0 ? 0 : sd === 0 ? Infinity : Math.abs(outside) / sd;
    let state = "cannot-tell";
    if (z > BELIEVE_Z) state = "does-not-hold";
    else if (z > DOUBT_Z) state = "doubtful";
    else if (sd * SEEN_Z <= o.worth) state = "holds";
    const middle = (low + high) / 2;
    const spread = Math.hypot(sd, (high - low) / Math.sqrt(12));
    const size = ratio / middle - 1;
    // The middle 95 % of a normal error and an overlap anywhere in its band: p is the band's part of the variance.
    const p = spread > 0 ? ((high - low) / Math.sqrt(12) / spread) ** 2 : 0;
    const reach = (1.96 + p ** 2 * (0.0122 + p * (-0.7388 + p * (1.0665 - 0.6579 * p)))) * spread;
    return {
      state,
      used,
      expected,
      ratio,
      sd,
      size,
      sizeSd: spread / middle,
      spread,
      low: size - reach / middle,
      high: size + reach / middle,
      bandLow: expected * (middle - reach),
      bandHigh: expected * (middle + reach),
      outside,
      worst: ["put", "level", "before", "dose"][parts.indexOf(Math.max(...parts))],
      worthStopping: state === "cannot-tell" ? null : state !== "holds" && Math.abs(size) >= o.worth,
    };
  }

  // fill_series with a dose that is exact: all fills together, and how many more like them until 2 % can be seen (null: never).
  // Fills to the brim share the error of one density, so theirs adds up instead of averaging out.
  function fillTotal(fills, doseKgHa, more) {
    const o = Object.assign({ levelBeforeKg: 0, levelBeforeSdKg: 0 }, more);
    const sum = (pick) => fills.reduce((total, fill) => total + pick(fill), 0);
    const last = fills[fills.length - 1];
    const expected = doseKgHa * sum((f) => f.areaHa);
    const ratio = (o.levelBeforeKg + sum((f) => f.putKg) - last.levelKg) / expected;
    const put = Math.sqrt(sum((f) => (f.how === "brim" ? 0 : f.putSdKg ** 2))) / expected;
    const stays = sum((f) => (f.how === "brim" ? f.putSdKg : 0)) / expected;
    const ends = (last.levelSdKg / expected) ** 2 + (o.levelBeforeSdKg / expected) ** 2;
    const after = (n) => Math.sqrt(put ** 2 / n + ends / n ** 2 + stays ** 2);
    let needed = null;
    for (let extra = 0; extra <= 200 && needed === null; extra += 1) if (2 * after((fills.length + extra) / fills.length) <= 0.02) needed = extra;
    return { ratio, sd: after(1), more: needed };
  }

  // -- repeats ------------------------------------------------------------------------------------------------------------
  const LANCZOS = [
    0.99999999999980993, 676.5203681218851, -1259.1392167224028, 771.32342877765313, -176.61502916214059, 12.507343278686905,
    -0.13857109526572012, 9.9843695780195716e-6, 1.5056327351493116e-7,
  ];

  function logGamma(x) {
    let sum = LANCZOS[0];
    for (let i = 1; i < 9; i += 1) sum += LANCZOS[i] / (x - 1 + i);
    const t = x + 6.5;
    return 0.5 * Math.log(2 * Math.PI) + (x - 0.5) * Math.log(t) - t + Math.log(sum);
  }

  // Regularised incomplete beta by its continued fraction.
  function incompleteBeta(x, a, b) {
    if (x <= 0) return 0;
    if (x >= 1) return 1;
    if (x > (a + 1) / (a + b + 2)) return 1 - incompleteBeta(1 - x, b, a);
    const front = Math.exp(logGamma(a + b) - logGamma(a) - logGamma(b) + a * Math.log(x) + b * Math.log1p(-x)) / a;
    const tiny = 1e-300;
    let c = 1;
    let d = 1 - ((a + b) * x) / (a + 1);
    d = 1 / (Math.abs(d) < tiny ? tiny : d);
    let f = d;
    for (let m = 1; m < 5000; m += 1) {
      for (const term of [
        (m * (b - m) * x) / ((a + 2 * m - 1) * (a + 2 * m)),
        (-(a + m) * (a + b + m) * x) / ((a + 2 * m) * (a + 2 * m + 1)),
      ]) {
        d = 1 + term * d;
        d = 1 / (Math.abs(d) < tiny ? tiny : d);
        c = 1 + term / c;
        c = Math.abs(c) < tiny ? tiny : c;
        f *= c * d;
      }
      if (Math.abs(c * d - 1) < 1e-15) break;
    }
    return front * f;
  }

  // student_t(0.975, dof) or student_t(0.995, dof); tail: what lies outside on both sides, 0.05 or 0.01
  function studentT(dof, tail = 0.05) {
    const z = tail === 0.01 ? 2.5758293035489004 : 1.959963984540054;
    if (!Number.isFinite(dof)) return z;
    if (dof > 400) {
      const p = [z, 0, 0, 0, 0];
      p[1] = (z ** 3 + z) / 4;
      p[2] = (5 * z ** 5 + 16 * z ** 3 + 3 * z) / 96;
      p[3] = (3 * z ** 7 + 19 * z ** 5 + 17 * z ** 3 - 15 * z) / 384;
      p[4] = (79 * z ** 9 + 776 * z ** 7 + 1482 * z ** 5 - 1920 * z ** 3 - 945 * z) / 92160;
      return p[0] + p[1] / dof + p[2] / dof ** 2 + p[3] / dof ** 3 + p[4] / dof ** 4;
    }
    let low = 0;
    let high = 1e3;
    for (let i = 0; i < 200 && high - low > 1e-14 * high; i += 1) {
      const t = (low + high) / 2;
      if (incompleteBeta(dof / (dof + t * t), dof / 2, 0.5) > tail) low = t;
      else high = t;
    }
    return (low + high) / 2;
  }

  // mean_of_repeats, for a two-sided interval of 95 %
  function meanOfRepeats(values, o) {
    const n = values.length;
    const mean = values.reduce((sum, v) => sum + v, 0) / n;
    const priorVariance = (o.priorCv * mean) ** 2 + o.ownSd ** 2;
    const dof = o.priorDof + n - 1;
    const squares = values.reduce((sum, v) => sum + (v - mean) ** 2, 0);
    const variance = (o.priorDof * priorVariance + squares) / dof;
    const ofMean = variance / n;
    const total = ofMean + o.sharedSd ** 2;
    const effective = o.sharedSd === 0 || ofMean === 0 ? dof : dof * (total / ofMean) ** 2;
    const t = studentT(effective);
    const sd = Math.sqrt(total);
    return { mean, sd, low: mean - t * sd, high: mean + t * sd, sdEach: Math.sqrt(variance), cv: Math.sqrt(variance) / Math.abs(mean), dof, odd: oddOf(squares, n, priorVariance, o.priorDof) };
  }

  // Probability of a spread as wide as this one if the usual repeatability holds; null for one value.
  function oddOf(squares, n, priorVariance, priorDof) {
    if (n < 2 || priorVariance === 0) return null;
    const f = squares / (n - 1) / priorVariance;
    return incompleteBeta(priorDof / (priorDof + (n - 1) * f), priorDof / 2, (n - 1) / 2);
  }

  // catch_test: product per turn from one catch or more, bag included in each mass
  function catchTest(massesKg, turns, more) {
    const o = Object.assign({ tareKg: 0, divisionKg: 0, priorCv: 0.015, precision: 0.02, priorDof: 6, expected: null }, more);
    if (!(turns > 0)) refuse("turns", "The turns must be above 0.");
    if (!(o.tareKg >= 0)) refuse("tare", "The bag cannot weigh less than 0.");
    massesKg.forEach((mass, i) => {
      if (!(mass > o.tareKg)) refuse(i === 0 ? "mass" : `mass${i + 1}`, "It must weigh more than its bag.");
    });
    const step = o.divisionKg / Math.sqrt(12) / turns;
    const shared = o.tareKg > 0 ? step : 0;
    const each = massesKg.map((mass) => (mass - o.tareKg) / turns);
    const r = meanOfRepeats(each, { priorCv: o.priorCv, ownSd: step, sharedSd: shared, priorDof: o.priorDof });
    let needed = 99;
    for (let n = 1; n < 99; n += 1) {
      if (studentT(o.priorDof + n - 1) * Math.sqrt(r.sdEach ** 2 / n + shared ** 2) <= o.precision * r.mean) {
        needed = n;
        break;
      }
    }
    let verdict = (r.high - r.low) / 2 / r.mean <= o.precision ? "good" : "longer";
    if (o.expected && Math.abs(r.mean - o.expected.value) > studentT(r.dof, 0.01) * Math.hypot(r.sd, o.expected.sd)) verdict = "find out why";
    if (r.odd !== null && r.odd < 0.01) verdict = "find out why";
    return { factor: r.mean, low: r.low, high: r.high, sd: r.sd, cv: r.cv, odd: r.odd, needed, verdict };
  }

  // wheel_calibration: distance per pulse from runs over a taped distance
  function wheelCalibration(distancesM, pulses, more) {
    const o = Object.assign({ tapeSdM: 0.1, priorCv: 0.005, priorDof: 6 }, more);
    distancesM.forEach((d, i) => {
      if (!(d > 0)) refuse("taped", "The taped distance must be above 0.");
      if (!(pulses[i] > 0)) refuse("pulses", "The count must be above 0.");
    });
    const each = distancesM.map((d, i) => d / pulses[i]);
    const average = (list) => list.reduce((sum, v) => sum + v, 0) / list.length;
    const counting = average(each.map((e, i) => e / pulses[i])) / Math.sqrt(6);
    const tape = average(pulses.map((p) => o.tapeSdM / p));
    const r = meanOfRepeats(each, { priorCv: o.priorCv, ownSd: counting, sharedSd: tape, priorDof: o.priorDof });
    return { pulseM: r.mean, sd: r.sd, low: r.low, high: r.high, pulsesM: 1 / r.mean };
  }

  // The machine's own distance against the tape: how much too long it counts, as a share.
  function distanceRatio(tapedM, shownM, more) {
    const o = Object.assign({ tapeSdM: 0.1, shownSdM: 0.3 }, more);
    if (!(tapedM > 0)) refuse("taped", "The taped distance must be above 0.");
    if (!(shownM > 0)) refuse("shown", "The distance shown must be above 0.");
    const ratio = shownM / tapedM;
    return { ratio, sd: ratio * Math.hypot(o.tapeSdM / tapedM, o.shownSdM / shownM) };
  }

  // -- slip finder --------------------------------------------------------------------------------------------------------
  const plain = (value) => {
    const rounded = Number(value.toPrecision(10));
    const size = Math.abs(rounded);
    return size !== 0 && (size < 1e-4 || size >= 1e10) ? null : String(rounded);
  };

  function swaps(asked, seen, spread, table) {
    const text = plain(asked);
    if (text === null) return [];
    const places = [...text].map((c, i) => [c, i]).filter(([c]) => c >= "0" && c <= "9").map(([, i]) => i);
    const done = new Set();
    const found = [];
    for (let n = 0; n < places.length; n += 1) {
      for (let k = n + 1; k < places.length; k += 1) {
        const letters = [...text];
        [letters[places[n]], letters[places[k]]] = [letters[places[k]], letters[places[n]]];
        const swapped = letters.join("");
        const value = Number(swapped);
        if (swapped === text || done.has(swapped) || value <= 0) continue;
        done.add(swapped);
        if (Math.abs(Math.log(seen / value)) > MATCH_Z * spread) continue;
        const exact = Math.abs(seen - value) <= 1e-9 * value;
        const odds = (k - n === 1 ? table.near : table.far) * (exact ? 2 : 1);
        const sentence = `Digits changed places: ${swapped} for ${text} (the difference is divisible by 9).`;
        found.push(["digits", `${swapped} for ${text}`, value / asked, sentence, "Read the ticket or the typed value digit by digit.", odds]);
      }
    }
    return found;
  }

  // typing_slip: slips that would turn what was asked into what is seen, likeliest first. table: the slips known, weights and
  // rounding, as the Python twin has them.
  function typingSlip(asked, seen, sd, table) {
    if (!(asked > 0)) refuse("asked", "What it should be must be above 0.");
    if (!(seen > 0)) refuse("seen", "What it is must be above 0.");
    const spread = Math.hypot(sd, table.rounding);
    const found = Math.log(seen / asked);
    const swapped = swaps(asked, seen, spread, table);
    if (Math.abs(found) <= MATCH_Z * spread && swapped.length === 0) return [];
    const matches = [];
    for (const [kind, name, ratio, text, look, odds] of [...table.known, ...swapped]) {
      const z = Math.abs(found - Math.log(ratio)) / spread;
      if (z <= MATCH_Z) matches.push({ kind, name, ratio, text, look, z, weight: odds * Math.exp(-0.5 * z * z) });
    }
    const total = matches.reduce((sum, m) => sum + m.weight, 0);
    matches.sort((a, b) => b.weight - a.weight || (a.name < b.name ? -1 : a.name > b.name ? 1 : 0));
    return matches.map((m) => Object.assign(m, { weight: m.weight / total }));
  }

  // -- codes --------------------------------------------------------------------------------------------------------------
  // One entry is one code: bits, a checksum of 16 bits, letters that cannot be misread, groups of four.
  const LETTERS = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
  const KINDS = ["fill", "catch", "distance", "slip"];
  const HOW = ["", "ticket", "truck-scale", "pads", "cart-scale", "tote", "brim", "conveyor", "glance", "share", "low-light"];
  const VERSION = 1;

  function bitsOf(value, count) {
    let text = "";
    for (let i = count - 1; i >= 0; i -= 1) text += Math.floor(value / 2 ** i) % 2;
    return text;
  }

  // A number in six figures: 20 bits of digits, 3 bits for the place of the point; one bit in front says whether it is known.
  function numberBits(value) {
    if (value === null || value === undefined) return "0";
    let places = 0;
    let digits = value;
    while (places < 7 && Math.round(value * 10 ** (places + 1)) < 1e6) {
      places += 1;
      digits = value * 10 ** places;
    }
    digits = Math.round(digits);
    while (places > 0 && digits % 10 === 0) {
      digits /= 10;
      places -= 1;
    }
    if (!(digits >= 0 && digits < 2 ** 20)) refuse("number", "A number is too large for a code.");
    return `1${bitsOf(places, 3)}${bitsOf(digits, 20)}`;
  }

  function checksum(bytes) {
    let crc = 0xffff;
    for (const byte of bytes) {
      crc ^= byte << 8;
      for (let i = 0; i < 8; i += 1) crc = crc & 0x8000 ? ((crc << 1) ^ 0x1021) & 0xffff : (crc << 1) & 0xffff;
    }
    return crc;
  }

  // encode: the twin of desk.pocketing.encode. entry: { kind, minutes, nonce, mark, bin, values: [...], how: [...] }
  function encode(entry) {
    let bits = bitsOf(VERSION, 3) + bitsOf(KINDS.indexOf(entry.kind), 3) + bitsOf(entry.minutes, 24) + bitsOf(entry.nonce, 12);
    bits += bitsOf(parseInt(entry.mark || "0", 16) % 4096, 12) + bitsOf(entry.bin ? entry.bin.charCodeAt(0) - 64 : 0, 5);
    bits += bitsOf(entry.values.length, 4);
    for (const word of [entry.how[0] || "", entry.how[1] || ""]) bits += bitsOf(Math.max(0, HOW.indexOf(word)), 4);
    for (const value of entry.values) bits += numberBits(value);
    while (bits.length % 8) bits += "0";
    const bytes = [];
    for (let i = 0; i < bits.length; i += 8) bytes.push(parseInt(bits.slice(i, i + 8), 2));
    bits += bitsOf(checksum(bytes), 16);
    while (bits.length % 5) bits += "0";
    let text = "";
    for (let i = 0; i < bits.length; i += 5) text += LETTERS[parseInt(bits.slice(i, i + 5), 2)];
    return `EV-${text.match(/.{1,4}/g).join("-")}`;
  }

  return { fillCheck, fillTotal, catchTest, typingSlip, wheelCalibration, distanceRatio, meanOfRepeats, studentT, encode, OutOfRange, KINDS, HOW };
})();

if (typeof module !== "undefined") module.exports = SUMS;

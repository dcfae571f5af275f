// The page around the sums: reads what is typed, says the answer, keeps entries where the phone allows it.

if (typeof document !== "undefined") {
  const data = JSON.parse(document.getElementById("data").textContent);
  const binOf = (letter) => data.bins.find((b) => b.letter === letter);
  const $ = (id) => document.getElementById(id);
  const WORDS = { holds: "Holds", doubtful: "Doubtful", "does-not-hold": "Does not hold", "cannot-tell": "Cannot be told yet" };

  // -- numbers ------------------------------------------------------------------------------------------------------------
  const grouped = (text) => text.replace(/\B(?=(\d{3})+(?!\d))/g, "\u202f");
  function rounded(value, decimals) {
    let places = decimals;
    if (places === null || places === undefined) {
      const size = value === 0 ? 0 : Math.floor(Math.log10(Math.abs(value)));
      places = Math.max(0, Math.min(6, 2 - size));
    }
    const [whole, rest] = value.toFixed(places).split(".");
    return grouped(whole.replace(/^-0$/, "0")) + (rest ? `.${rest}` : "");
  }
  const inUnit = (value, quantity) => value / data.units[quantity].factor;
  const say = (value, quantity) => `${rounded(inUnit(value, quantity), data.units[quantity].decimals)} ${data.units[quantity].symbol}`;
  const percent = (share) => `${rounded(Math.abs(share) * 100, 1)} %`;

  // null while empty; an error for what is no number or could be read two ways
  function number(form, name, quantity) {
    const text = form.elements[name].value.trim();
    if (text === "") return null;
    const bare = text.replace(/[\s\u202f\u00a0']/g, "");
    const refuse = (why) => Object.assign(new SUMS.OutOfRange(why), { field: name });
    if (/^[1-9]\d{0,2},\d{3}$/.test(bare)) throw refuse("Could be read two ways: write 1200 or 1.2 without a comma.");
    if (!/^\d*[.,]?\d+$/.test(bare) && !/^\d+[.,]$/.test(bare)) throw refuse("Write a number alone.");
    const value = Number(bare.replace(",", "."));
    return quantity ? value * data.units[quantity].factor : value;
  }

  // -- the four sums ------------------------------------------------------------------------------------------------------
  const share = (how) => data.ways[how] || 0;
  const ABOUT = {
    put: "Weigh the next load before it goes in.",
    level: "Run the bin down to the low-level light, or weigh what is left, and read the counter there.",
    before: "Start the next check from the low-level light or an empty bin.",
    dose: "A catch test would settle it.",
  };

  // without the values at the end that were not typed
  function trimmed(values) {
    const last = values.reduce((found, value, i) => (value === null ? found : i), -1);
    return values.slice(0, last + 1);
  }

  function fill(form) {
    const bin = binOf(form.elements.bin.value);
    const values = [number(form, "area", "area"), number(form, "put", "mass"), number(form, "level", "mass"), number(form, "before", "mass")];
    const [area, put, level, before] = values;
    const counter = number(form, "counter", "area");
    if (area === null || put === null || level === null) return null;
    const how = form.elements.how.value;
    const levelHow = form.elements.level_how.value;
    const most = bin.full_kg || Math.max(put + (before || 0), level);
    let levelSd = share(levelHow) * (levelHow === "glance" ? most : level);
    if (levelHow === "low-light") levelSd = bin.low_light_sd_kg === null ? share("glance") * most : bin.low_light_sd_kg;
    const found = SUMS.fillCheck(area, put, level, bin.rate_kg_ha, {
      levelBeforeKg: before || 0,
      putSdKg: share(how) * (how === "glance" ? most : put),
      levelSdKg: levelSd,
      levelBeforeSdKg: before ? share("glance") * most : 0,
      doseSd: bin.dose_sd,
      overlap: form.elements.area_from.value === "new" ? data.overlap : [0, 0],
    });
    const lines = [
      `${say(found.used, "mass")} went out; ${say(Math.max(0, found.bandLow), "mass")} to ${say(found.bandHigh, "mass")} was to be expected.`,
    ];
    if (found.state === "cannot-tell") {
      lines.push(`An error of ${Math.max(Math.round(1.645 * found.spread * 100), 5)} % could hide in that.`, ABOUT[found.worst]);
    } else if (found.state !== "holds") {
      const side = found.outside > 0 ? "more" : "less";
      lines.push(`That is ${percent(found.size)} (± ${rounded(found.spread * 100, 1)}) ${side} than the area asks for.`);
      if (!found.worthStopping) lines.push("Small enough to leave until the next fill.");
      lines.push(side === "less" ? "Look first for a fill left out or not entered; then catch again." : "Look first for a fill entered twice; then catch again.");
    } else lines.push("A plugged run does not show in this.");
    const taken = { areaHa: area, putKg: put, putSdKg: share(how) * (how === "glance" ? most : put), levelKg: level, levelSdKg: levelSd, how };
    const start = { kg: before || 0, sd: before ? share("glance") * most : 0 };
    lines.push(totalText(bin, [...fillsKept(bin.letter, taken), { taken, start }]));
    return {
      fill: { bin: bin.letter, taken, start },
      state: found.state,
      title: `${bin.letter}: ${WORDS[found.state]}`,
      lines,
      words: `fill ${bin.letter}, ${say(area, "area")}, put in ${say(put, "mass")}, now ${say(level, "mass")}: ${WORDS[found.state].toLowerCase()}`,
      entry: { kind: "fill", bin: bin.letter, values: trimmed([...values, counter]), how: [how, levelHow] },
    };
  }

  // The same fill looked at again, further on: the later look stands for both.
  const sameFill = (a, b) => a.putKg === b.putKg && b.areaHa >= a.areaHa && b.levelKg <= a.levelKg;

  function fillsKept(letter, now) {
    const out = [];
    for (const item of kept) {
      if (!item.fill || item.fill.bin !== letter) continue;
      if (out.length > 0 && sameFill(out[out.length - 1].taken, item.fill.taken)) out.pop();
      out.push(item.fill);
    }
    if (out.length > 0 && sameFill(out[out.length - 1].taken, now)) out.pop();
    return out;
  }

  function totalText(bin, fills) {
    const first = fills[0].start;
    const total = SUMS.fillTotal(fills.map((f) => f.taken), bin.rate_kg_ha, { levelBeforeKg: first.kg, levelBeforeSdKg: first.sd });
    const off = `${percent(total.ratio - 1)} ${total.ratio > 1 ? "more" : "less"} than asked, known to ± ${rounded(196 * total.sd, 1)} %`;
    const over = fills.length > 1 ? `Over ${fills.length} fills on this phone: ${off}` : `This fill alone: ${off}`;
    if (total.more === null) return `${over}. Fills known like this will never show an error of 2 %: weigh one, or run down to the low-level light.`;
    if (total.more === 0) return `${over}. An error of 2 % can be seen.`;
    return `${over}. ${total.more} more fill${total.more > 1 ? "s" : ""} like ${fills.length > 1 ? "these" : "this"} until 2 % can be seen.`;
  }

  function caught(form) {
    const bin = binOf(form.elements.bin.value);
    const turns = number(form, "turns");
    const tare = number(form, "tare", "catch");
    const masses = ["mass", "mass2", "mass3", "mass4"].map((name) => number(form, name, "catch"));
    const weighed = masses.filter((m) => m !== null);
    if (turns === null || tare === null || weighed.length === 0) return null;
    const expected = bin.factor_kg_turn === null ? null : { value: bin.factor_kg_turn, sd: bin.factor_sd_kg_turn };
    const found = SUMS.catchTest(weighed, turns, { tareKg: tare, expected });
    const lines = [`${say(found.low, "factor")} to ${say(found.high, "factor")} (95 %).`];
    let verdict = found.verdict;
    if (expected !== null && bin.band !== null) {
      const ratio = found.factor / expected.value;
      const within = ratio >= bin.band[0] && ratio <= bin.band[1];
      if (verdict !== "find out why") verdict = within ? "good" : "longer";
      lines.push(`${percent(ratio - 1)} ${ratio >= 1 ? "more" : "less"} a turn than ${say(expected.value, "factor")}, which the plan uses.`);
      if (verdict === "good") lines.push("It agrees: the plan's value may stay.");
    } else if (verdict !== "find out why") lines.push(`No value was known before. ${found.needed} catches like this, or one much longer, would know it to 2 %.`);
    if (found.odd !== null && found.odd < 0.01) lines.push("The catches differ more than such catches do: was each the same number of turns?");
    if (verdict === "longer") lines.push("Catch more turns at once before catching again.");
    if (verdict === "find out why") lines.push("Roller, gear, segments caught, lot, lumps, or a bag not taken off? Catch again before you type it in.");
    const state = { good: "holds", longer: "cannot-tell", "find out why": "does-not-hold" }[verdict];
    const word = { good: "good", longer: "catch longer", "find out why": "find out why" }[verdict];
    const title = `${bin.letter}: ${say(found.factor, "factor")}, ${word}`;
    return {
      state,
      title,
      lines,
      words: `catch ${bin.letter}, ${rounded(turns, null)} turns, ${weighed.map((m) => say(m, "catch")).join(", ")} with bag ${say(tare, "catch")}: ${say(found.factor, "factor")}`,
      entry: { kind: "catch", bin: bin.letter, values: [turns, tare, ...weighed], how: ["", ""] },
    };
  }

  function distance(form) {
    const taped = number(form, "taped", "distance");
    const pulses = number(form, "pulses");
    const shownM = number(form, "shown", "distance");
    if (taped === null || (pulses === null && shownM === null)) return null;
    const lines = [];
    let title = "";
    let state = "cannot-tell";
    if (pulses !== null) {
      const found = SUMS.wheelCalibration([taped], [pulses]);
      title = `${say(found.pulseM, "pulse")}`;
      lines.push(`${say(found.low, "pulse")} to ${say(found.high, "pulse")} (95 %).`);
      if (data.pulse_m !== null) {
        const change = data.pulse_m / found.pulseM - 1;
        state = data.pulse_m >= found.low && data.pulse_m <= found.high ? "holds" : "does-not-hold";
        lines.push(`${say(data.pulse_m, "pulse")} is in force: it counts ${percent(change)} too ${change >= 0 ? "long" : "short"}.`);
      }
    }
    if (shownM !== null) {
      const found = SUMS.distanceRatio(taped, shownM);
      const off = found.ratio - 1;
      state = Math.abs(off) <= 2 * found.sd ? "holds" : "does-not-hold";
      title = title || (state === "holds" ? "Distance holds" : `Counts ${percent(off)} too ${off > 0 ? "long" : "short"}`);
      if (state !== "holds") lines.push(`About ${percent(off)} too ${off > 0 ? "much" : "little"} of everything is sown.`);
      lines.push(`± ${percent(2 * found.sd)} by tape and display.`);
    }
    return {
      state,
      title,
      lines,
      words: `distance ${say(taped, "distance")} taped${pulses === null ? "" : `, ${rounded(pulses, 0)} pulses`}${shownM === null ? "" : `, ${say(shownM, "distance")} shown`}: ${title}`,
      entry: { kind: "distance", bin: "", values: shownM === null ? [taped, pulses] : [taped, pulses, shownM], how: ["", ""] },
    };
  }

  function slip(form) {
    const asked = number(form, "asked");
    const seen = number(form, "seen");
    if (asked === null || seen === null) return null;
    const found = SUMS.typingSlip(asked, seen, Number(form.elements.sd.value), data.slips);
    const ratio = seen / asked;
    const same = Math.abs(ratio - 1) < 0.003 && found.length === 0;
    const best = found[0];
    const lines = best
      ? [`Ratio ${rounded(ratio, 3)}. ${best.look}`, ...found.slice(1, 4).map((m) => `Or: ${m.text}`), "A match is no proof: look before you change anything."]
      : [same ? "The two agree." : `Ratio ${rounded(ratio, 3)} is no slip known here.`];
    return {
      state: same ? "holds" : best ? "doubtful" : "cannot-tell",
      title: best ? best.text : same ? "No slip" : "No known slip",
      lines,
      words: `slip: asked ${asked}, is ${seen}: ${best ? best.text : "none known"}`,
      entry: { kind: "slip", bin: "", values: [asked, seen], how: ["", ""] },
    };
  }

  // -- keeping ------------------------------------------------------------------------------------------------------------
  const STORE = `evenstand-pocket-${data.mark}`;
  let kept = [];
  let stored = false;
  try {
    kept = JSON.parse(window.localStorage.getItem(STORE) || "[]");
    window.localStorage.setItem(STORE, JSON.stringify(kept));
    stored = true;
  } catch (error) {
    kept = [];
  }

  function nonce() {
    try {
      return window.crypto.getRandomValues(new Uint16Array(1))[0] % 4096;
    } catch (error) {
      return Math.floor(Math.random() * 4096);
    }
  }

  function store() {
    if (stored) {
      try {
        window.localStorage.setItem(STORE, JSON.stringify(kept));
      } catch (error) {
        stored = false;
      }
    }
    listKept();
  }

  function listKept() {
    $("kept-where").textContent = stored
      ? "Kept on this phone until you clear them, and as text below."
      : "This phone does not let the page keep anything: copy the text before you close the page.";
    const list = $("kept-list");
    list.textContent = "";
    kept.forEach((item, index) => {
      const row = document.createElement("li");
      const words = document.createElement("span");
      words.textContent = `${item.at}  ${item.words}`;
      const code = document.createElement("code");
      code.textContent = item.code;
      const drop = document.createElement("button");
      drop.type = "button";
      drop.textContent = "Take out";
      drop.setAttribute("aria-label", `Take out: ${item.words}`);
      drop.addEventListener("click", () => {
        kept.splice(index, 1);
        store();
      });
      row.append(words, code, drop);
      list.append(row);
    });
    $("kept-text").value = kept.map((item) => `${item.code}  ${item.at}  ${item.words}`).join("\n");
    for (const id of ["kept-copy", "kept-file"]) $(id).disabled = kept.length === 0;
  }

  function keep(result) {
    const now = new Date();
    const minutes = Math.floor((now.getTime() - Date.UTC(2020, 0, 1)) / 60000);
    const code = SUMS.encode(Object.assign({ minutes, nonce: nonce(), mark: data.mark }, result.entry));
    const pad = (n) => String(n).padStart(2, "0");
    const at = `${now.getFullYear()}-${pad(now.getMonth() + 1)}-${pad(now.getDate())} ${pad(now.getHours())}:${pad(now.getMinutes())}`;
    kept.push({ code, at, words: result.words, fill: result.fill || null });
    store();
    return code;
  }

  $("kept-copy").addEventListener("click", async () => {
    const text = $("kept-text");
    let done = false;
    try {
      await navigator.clipboard.writeText(text.value);
      done = true;
    } catch (error) {
      text.focus();
      text.select();
      try {
        done = document.execCommand("copy");
      } catch (again) {
        done = false;
      }
    }
    $("kept-said").textContent = done ? "Copied." : "Not copied: mark the text and copy it by hand, or read the codes out.";
  });

  $("kept-file").addEventListener("click", () => {
    const link = document.createElement("a");
    link.href = URL.createObjectURL(new Blob([`${$("kept-text").value}\n`], { type: "text/plain" }));
    link.download = "pocket-entries.txt";
    document.body.append(link);
    link.click();
    link.remove();
  });

  // -- forms --------------------------------------------------------------------------------------------------------------
  function show(form, result) {
    const answer = form.querySelector("[data-answer]");
    const button = form.querySelector("[data-keep]");
    button.disabled = !result;
    button.textContent = "Keep this entry";
    if (!result) {
      answer.textContent = answer.dataset.empty;
      delete answer.dataset.state;
      return;
    }
    answer.dataset.state = result.state;
    answer.textContent = "";
    const title = document.createElement("strong");
    title.textContent = result.title;
    answer.append(title, ...result.lines.map((line) => Object.assign(document.createElement("p"), { textContent: line })));
  }

  function wire(id, sum) {
    const form = document.querySelector(`#${id} form`);
    const answer = form.querySelector("[data-answer]");
    answer.dataset.empty = answer.textContent;
    let result = null;
    const recompute = () => {
      for (const input of form.querySelectorAll("[aria-invalid]")) input.removeAttribute("aria-invalid");
      for (const place of form.querySelectorAll(".error")) place.textContent = "";
      try {
        result = sum(form);
      } catch (error) {
        if (!(error instanceof SUMS.OutOfRange)) throw error;
        result = null;
        const input = form.elements[error.field];
        if (input && input.setAttribute) input.setAttribute("aria-invalid", "true");
        const place = $(`${id}-${error.field}-e`);
        if (place) place.textContent = error.message;
      }
      show(form, result);
    };
    form.addEventListener("input", recompute);
    form.addEventListener("change", recompute);
    form.addEventListener("submit", (event) => event.preventDefault());
    form.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" || event.target.tagName !== "INPUT") return;
      event.preventDefault();
      const fields = [...form.querySelectorAll("input:not([type=radio])")].filter((f) => f.offsetParent !== null);
      const next = fields[fields.indexOf(event.target) + 1];
      if (next) next.focus();
      else event.target.blur();
    });
    form.querySelector("[data-keep]").addEventListener("click", (event) => {
      if (!result) return;
      const code = keep(result);
      result = null;
      event.target.disabled = true;
      event.target.textContent = `Kept: ${code}`;
    });
    return { form, recompute };
  }

  for (const section of document.querySelectorAll(".sum")) section.hidden = false;
  const filling = wire("fill", fill);
  const catching = wire("catch", caught);
  wire("distance", distance);
  wire("slip", slip);

  function quickLevels() {
    const bin = binOf(filling.form.elements.bin.value);
    const place = filling.form.querySelector("[data-quick]");
    place.textContent = "";
    const choices = bin.full_kg === null ? [] : [["¼", bin.full_kg / 4, "glance"], ["½", bin.full_kg / 2, "glance"], ["¾", (bin.full_kg * 3) / 4, "glance"]];
    if (bin.low_light_kg !== null) choices.unshift(["light just on", bin.low_light_kg, "low-light"]);
    for (const [word, mass, how] of choices) {
      const button = document.createElement("button");
      button.type = "button";
      button.textContent = word;
      button.addEventListener("click", () => {
        filling.form.elements.level.value = rounded(inUnit(mass, "mass"), data.units.mass.decimals).replace(/\u202f/g, "");
        filling.form.elements.level_how.value = how;
        filling.recompute();
      });
      place.append(button);
    }
  }
  filling.form.addEventListener("change", (event) => {
    if (event.target.name === "bin") quickLevels();
  });
  filling.form.elements.level.addEventListener("input", () => {
    filling.form.elements.level_how.value = "glance";
  });

  function plannedTurns() {
    const bin = binOf(catching.form.elements.bin.value);
    catching.form.elements.turns.value = bin.turns === null ? "" : String(bin.turns);
  }
  catching.form.addEventListener("change", (event) => {
    if (event.target.name === "bin") {
      plannedTurns();
      catching.recompute();
    }
  });
  if (data.bins.length > 0) {
    quickLevels();
    plannedTurns();
  } else {
    $("fill").hidden = true;
    $("catch").hidden = true;
  }
  listKept();
}

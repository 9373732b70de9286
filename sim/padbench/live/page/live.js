// The live bench: says what is closed, turned and asked for; everything that comes of it is the server's.
"use strict";
(() => {
  const config = JSON.parse(document.getElementById("config").textContent);
  const { buttons, baked, token } = config, draw = window.padbench;
  const by = (id) => document.getElementById(id), all = (how) => [...document.querySelectorAll(how)];
  const tab = Math.random().toString(36).slice(2);
  const fresh = () => ({ held: 0, dials: {}, corner: "slow", event: "read", bit: 8, extra: 1 });
  let state = fresh(), mine = null, taps = 0, told = null, shown = null, face = null, scope = null, twice = null;
  const busy = {};

  // --- asking ----------------------------------------------------------------------------------

  // A newer question takes the place of one of its kind that is not answered yet.
  async function ask(kind, what = now(), more = {}, place = kind) {
    if (baked) return fromPage(what);
    busy[place]?.abort();
    const mine = (busy[place] = new AbortController());
    const reply = await fetch(`/${kind}`, {
      method: "POST", signal: mine.signal, body: JSON.stringify({ state: what, tab, ...more }),
      headers: { "Content-Type": "application/json", "X-Token": token },
    });
    const answer = await reply.json();
    if (mine.signal.aborted) throw new DOMException("overtaken", "AbortError");
    if (!reply.ok) throw new Error(answer.problems.join("\n"));
    return answer;
  }

  // The contacts as they stand, and which directions closed after their opposite ones.
  const since = {};
  let was = 0, closings = 0;
  function now() {
    const held = state.held | taps, pairs = [[8, 4], [2, 1]];
    closings += 1;
    for (const bit of pairs.flat()) if (held & ~was & bit) since[bit] = closings;
    was = held;
    const later = pairs.map(([one, other]) => !(held & one && held & other) || since[one] === since[other] ? 0 : since[one] > since[other] ? one : other);
    return { ...state, held, newer: later[0] | later[1] };
  }
  const trouble = (error) => {
    if (error.name === "AbortError") return;
    by("trouble").textContent = error instanceof TypeError ? "The server does not answer; is it still running?" : error.message;
  };

  // A read of the page without a server: its data line, into the other wires of such reads.
  function fromPage({ held, newer, event, bit, extra }) {
    const stopped = event === "fetch", group = baked.groups[stopped ? `${bit},${extra}` : ""], place = baked.orders[held | newer << 8] ?? held;
    const { says, base } = group, [levels, gaps, byte, expected, undecided, right, notes] = readOf(group, place);
    const wave = { ...base, notes, reads: [[...base.reads[0].slice(0, 3), byte, expected, undecided, right]] };
    wave.rows = base.rows.map((row) => row[0] === "data" ? ["data", levels, gaps]
      : buttons.includes(row[0]) ? [row[0], held & bitOf(row[0]) ? "1" : "0", "0"] : row);
    const wants = readOf(baked.groups[""], place)[3];
    return { wave, says, number: 0, reads: 1, problems: [], byte, undecided, wants, held, frame: baked.frame };
  }
  const readOf = ({ kinds, reads }, place) => kinds[reads[place]];
  const bitOf = (name) => 128 >> buttons.indexOf(name);

  // --- the read --------------------------------------------------------------------------------

  async function read() {
    const asked = now(), slow = setTimeout(() => { by("byte").textContent = "… This read is running."; }, 150);
    try {
      told = { ...await ask("read", asked, { volts: scope !== null }), asked };
      by("trouble").textContent = "";
      tell(told);
      if (by("running").checked) picture();
    } catch (error) {
      trouble(error);
      if (error.name !== "AbortError" && !document.body.classList.contains("old")) {
        document.body.classList.add("old");
        by("byte").append(" This is old: what is set now was not read.");
      }
    } finally { clearTimeout(slow); }
  }

  function summary({ byte, undecided, wants, either, cut, past, reads, number }) {
    const as = draw.readAs({ byte, undecided }), bits = draw.bitsOf({ byte, undecided });
    const apart = byte ^ wants | undecided;
    const open = cut ? ", cut short" : apart ? ", either is right" : "";
    const odd = apart & ~either ? `, not ${draw.spelled(wants)}` : open;
    return [bits, as + odd + (past ? `; past the end: ${past}` : "") + (reads > 1 ? ` (read ${number + 1} of ${reads})` : "")];
  }

  // Bits that are not as they should be; some are right either way.
  const wrongOf = ({ byte, undecided, wants, either }) => (byte ^ wants | undecided) & ~either;

  function tell(answer) {
    const { byte, undecided, says, problems, frame, accepted = [] } = answer;
    document.body.classList.remove("old");
    by("says").textContent = says;
    // A shipped scenario has contacts of its own; what the switches were set to waits meanwhile.
    const moved = answer.own === false;
    by("moved").hidden = !moved;
    all("[role=switch]").forEach((one) => (one.checked = ((moved ? answer.held ?? 0 : state.held) & one.dataset.bit) > 0));
    all("#contacts :is(input, button)").forEach((one) => (one.disabled = moved));
    by("strip").innerHTML = frame;
    if (byte === undefined) {
      by("byte").textContent = "The console makes no read.";
    } else {
      const [bits, as] = summary(answer), strong = document.createElement("strong");
      strong.textContent = bits;
      by("byte").replaceChildren("The console reads ", strong, ` = ${as}.`,
        ...(accepted.length ? [` It acts on ${accepted.at(-1) ?? "nothing"}.`] : []));
      all("#bits li").forEach((li, place) => {
        const bit = 128 >> place;
        li.className = `${byte & ~undecided & bit ? "on" : ""} ${wrongOf(answer) & bit ? "odd" : ""}`;
        li.lastChild.textContent = undecided & bit ? "?" : byte & bit ? "1" : "0";
      });
    }
    by("reading").dataset.byte = byte ?? "";
    by("problems").replaceChildren(...problems.map((one) => item(one)));
  }

  // A byte can come out right of a pad whose findings fail.
  function failing(ids) {
    by("failing").textContent = ids.length ? `${ids.length === 1 ? "A finding fails" : `${ids.length} findings fail, first`}: ${ids[0]}.` : "";
  }

  function item(text, kind = "") {
    const li = document.createElement("li");
    li.textContent = text;
    li.className = kind;
    return li;
  }

  // The wires of what was told last; the view stays where it is, counted from the latch.
  function picture() {
    shown = told;
    const { wave } = told, view = face && { span: face.to - face.from, at: face.from - base() };
    const before = face?.wave.unit;
    if (face) face.update(wave); else face = draw.make(by("digital"), wave);
    // What a shipped scenario is about may lie beside the read, as a press between two polls does.
    if (told.own === false && !by("digital").dataset.kept) face.home();
    else if (!view || !by("digital").dataset.kept) toRead(); else {
      const scale = before / wave.unit, from = base() + view.at * scale;
      face.show(from, from + view.span * scale);
    }
    if (scope) voltages();
    by("twice").hidden = !told.twice;
    if (told.twice) {
      const { reads, agree, acts } = told.twice;
      by("twice-says").textContent = `It reads ${reads[0]}, then ${reads[1]}: ${agree ? "both agree" : "they differ"}, and the console acts on ${acts}.`;
      if (twice) twice.update(told.twice.wave); else twice = draw.make(by("twice-wave"), told.twice.wave);
      twice.whole();
      twice.read(Math.max(0, twice.wave.reads.length - 2));
    }
  }
  const base = () => face.wave.reads[shown.number]?.start ?? 0;

  function toRead() {
    delete by("digital").dataset.kept;
    if (shown.reads) face.read(Math.min(shown.number, face.wave.reads.length - 1)); else face.whole();
  }

  // --- the scope: time and volts in round steps --------------------------------------------------

  const rounds = (from, to) => {
    const made = [];
    for (let power = from; power < to; power *= 10) made.push(power, 2 * power, 5 * power);
    return made;
  };
  const number = (id) => Number(by(id).value);
  const LANES = ["latch", "clock", "data"], UP = 9, ACROSS = 10;
  const fill = (id, list, name, chosen) => by(id)?.replaceChildren(...list.map((one) => new Option(name(one), one, one === chosen, one === chosen)));
  fill("time", rounds(1e3, 1e11), (ps) => draw.shown(ps, 1), 1e7);
  fill("volts", rounds(0.1, 10), (v) => `${+v.toPrecision(1)} V`, 2);

  // Where the window of the scope begins, in picoseconds from the latch.
  const begins = () => (number("from") / 100) * number("time");
  const foot = (place) => UP - (UP / LANES.length) * (place + 1) + 0.4;

  // Of the picture that stands, which may be older than the last read.
  async function voltages() {
    const of = shown;
    try {
      of.volts ??= (await ask("read", of.asked, { volts: true }, "volts")).volts;
      if (of === shown && of.volts) plotVolts();
    } catch (error) { trouble(error); }
  }

  function plotVolts() {
    const { lines, samples } = shown.volts, each = number("volts");
    const data = uPlot.join(LANES.map((name, place) => [lines[name].at, lines[name].volts.map((v) => foot(place) + v / each)]));
    const from = begins(), to = from + ACROSS * number("time");
    scope.samples = samples;
    scope.plot.setData(data, false);
    scope.plot.setScale("x", { min: from, max: to });
    measure();
  }

  function makeScope() {
    const style = () => draw.colours(), colour = { latch: "ink", clock: "teal", data: "bad" };
    const steps = (from, to, n) => Array.from({ length: n + 1 }, (_, i) => from + ((to - from) * i) / n);
    const plot = new uPlot({
      width: Math.max(200, by("scope").clientWidth), height: 430, legend: { show: false }, padding: [14, 20, 0, 0],
      cursor: { drag: { x: false, y: false } },
      scales: { x: { time: false }, y: { range: [0, UP] } },
      series: [{}, ...LANES.map((name) => ({ stroke: () => style()[colour[name]], width: 2, spanGaps: true, points: { show: false } }))],
      axes: [
        { stroke: () => style().ink, grid: { stroke: () => style().rule }, splits: (_, __, from, to) => steps(from, to, ACROSS),
          values: (_, list) => list.map((at, i) => (i % 2 ? "" : draw.shown(at, 1))), size: 34 },
        { size: 60, stroke: () => style().ink, grid: { stroke: () => style().rule }, splits: () => steps(0, UP, UP), values: () => [] },
      ],
      hooks: { draw: [(made) => marksOf(made)] },
    }, [[0, 1], [0, 0], [0, 0], [0, 0]], by("scope"));
    scope = { plot, samples: [] };
    new ResizeObserver(() => plot.setSize({ width: Math.max(200, by("scope").clientWidth), height: 430 })).observe(by("scope"));
    plot.over.addEventListener("click", (event) => {
      const id = event.shiftKey ? "c2" : "c1", share = plot.posToVal(plot.cursor.left, "x");
      by(id).value = ((share - begins()) / (ACROSS * number("time"))) * 1000;
      measure();
    });
  }

  // Names, thresholds, samples and cursors.
  function marksOf(plot) {
    const { ctx, bbox } = plot, dpr = devicePixelRatio || 1, c = draw.colours(), each = number("volts");
    if (!shown?.volts) return;
    const x = (at) => plot.valToPos(at, "x", true), y = (v) => plot.valToPos(v, "y", true);
    const line = (a, b, colour, dash) => {
      ctx.strokeStyle = colour;
      ctx.setLineDash(dash.map((one) => one * dpr));
      ctx.beginPath();
      ctx.moveTo(...a);
      ctx.lineTo(...b);
      ctx.stroke();
    };
    ctx.save();
    ctx.font = `${12 * dpr}px system-ui, sans-serif`;
    ctx.lineWidth = dpr;
    ctx.textBaseline = "middle";
    LANES.forEach((name, place) => {
      ctx.fillStyle = c.ink;
      ctx.textAlign = "right";
      ctx.fillText(`${name} 0 V`, bbox.left - 6 * dpr, y(foot(place)));
      for (const volts of shown.volts.lines[name].levels) {
        const at = y(foot(place) + volts / each);
        line([bbox.left, at], [bbox.left + bbox.width, at], c.hatch, [5, 4]);
        ctx.fillText(`${volts.toFixed(2)} V`, bbox.left + bbox.width - 3 * dpr, at - 4 * dpr);
      }
    });
    ctx.textAlign = "center";
    // What broke, as in the digital wave.
    const { marks, unit, reads } = shown.wave, latch = reads[shown.number][0];
    for (const [when] of marks) {
      const at = x((when - latch) * unit);
      if (at < bbox.left || at > bbox.left + bbox.width) continue;
      line([at, bbox.top], [at, bbox.top + bbox.height], c.bad, [6, 3]);
      ctx.fillStyle = c.bad;
      ctx.fillText("✗", at, bbox.top - 3 * dpr);
    }
    // On a narrow screen two letters of each name find room.
    const bits = shown.volts.samples, { byte, undecided, past } = shown, made = draw.bitsOf({ byte, undecided }) + past;
    const room = bits.length > 1 ? x(bits[1]) - x(bits[0]) - 4 * dpr : Infinity;
    const cut = buttons.some((name) => ctx.measureText(name).width > room) ? 2 : undefined;
    bits.forEach((at, place) => {
      if (x(at) < bbox.left || x(at) > bbox.left + bbox.width) return;
      line([x(at), y(foot(2) - 0.2)], [x(at), y(foot(2) + 2.4)], c.soft, [1, 3]);
      ctx.fillStyle = wrongOf(shown) & (128 >> place) ? c.bad : c.ink;
      ctx.fillText(made[place] ?? "", x(at), y(foot(2) + 2.65));
      ctx.fillText((buttons[place] ?? String(place + 1)).slice(0, cut), x(at), y(foot(2) - 0.35));
    });
    for (const id of ["c1", "c2"]) {
      const at = x(cursorAt(id));
      line([at, bbox.top], [at, bbox.top + bbox.height], c.teal, id === "c1" ? [] : [6, 4]);
      ctx.fillStyle = c.teal;
      ctx.fillText(id.slice(1), at, bbox.top - 3 * dpr);
    }
    ctx.restore();
  }

  const cursorAt = (id) => begins() + (number(id) / 1000) * ACROSS * number("time");

  function voltsAt({ at, volts }, when) {
    let place = at.findIndex((one) => one > when);
    if (place === 0) return volts[0];
    if (place < 0) return volts.at(-1);
    const share = (when - at[place - 1]) / (at[place] - at[place - 1]);
    return volts[place - 1] + share * (volts[place] - volts[place - 1]);
  }

  function measure() {
    if (!shown?.volts || !scope) return;
    const [one, other] = [cursorAt("c1"), cursorAt("c2")];
    const said = (when) => LANES.map((name) => `${name} ${voltsAt(shown.volts.lines[name], when).toFixed(2)} V`).join(", ");
    by("measured").textContent = `1 at ${draw.shown(one, 1)}: ${said(one)} · 2 at ${draw.shown(other, 1)}: ${said(other)} · apart ${draw.shown(other - one, 1)}`;
    scope.plot.redraw(false);
  }

  // --- dials and verdict -------------------------------------------------------------------------

  // What each switch may be besides sound: the dial that lists those which are.
  const KINDS = { worn: "fault.contact-worn", stuck: "contacts.stuck" }, dialOf = (key) => config.dials.find((one) => one.key === key);
  const listed = (key) => (state.dials[key] ?? dialOf(key)?.now ?? "").split(", ").filter(Boolean);
  const kindOf = (name) => Object.keys(KINDS).find((kind) => listed(KINDS[kind]).includes(name)) ?? "sound";

  function turn(dial, words) {
    if (words === dial.now) delete state.dials[dial.key]; else state.dials[dial.key] = words;
  }

  function makeKinds() {
    for (const box of all(".contact")) {
      const name = box.querySelector("span").textContent, choice = document.createElement("select");
      choice.className = "kind";
      choice.setAttribute("aria-label", `the contact of ${name}`);
      choice.append(...["sound", ...Object.keys(KINDS).filter((kind) => dialOf(KINDS[kind]))].map((kind) => new Option(kind)));
      choice.addEventListener("change", () => {
        for (const [kind, key] of Object.entries(KINDS)) {
          if (dialOf(key)) turn(dialOf(key), buttons.filter((one) => (one === name ? choice.value === kind : listed(key).includes(one))).join(", "));
        }
        turned();
      });
      box.insertBefore(choice, box.lastElementChild);
    }
  }

  function makeDials() {
    makeKinds();
    by("dials").replaceChildren(...config.dials.filter((one) => !Object.values(KINDS).includes(one.key)).map((dial, place) => {
      const box = document.createElement("div"), label = document.createElement("label");
      const to = (words) => {
        turn(dial, words);
        box.classList.toggle("turned", dial.key in state.dials);
        turned();
      };
      box.className = "dial";
      box.dataset.key = dial.key;
      const input = document.createElement(dial.free ? "input" : "select");
      input.id = `dial-${place}`;
      label.htmlFor = input.id;
      label.textContent = dial.name;
      if (dial.free) {
        const range = document.createElement("input");
        Object.assign(range, { type: "range", min: 0, max: dial.choices.length - 1, value: dial.choices.indexOf(dial.now) });
        range.setAttribute("aria-label", `${dial.name}, step by step`);
        const said = () => range.setAttribute("aria-valuetext", input.value);
        input.type = "text";
        input.maxLength = 80;
        input.value = dial.now;
        said();
        range.addEventListener("input", () => { input.value = dial.choices[range.value]; said(); to(input.value); });
        input.addEventListener("change", () => {
          const step = dial.choices.indexOf(input.value);
          if (step >= 0) range.value = step;
          said();
          to(input.value);
        });
        box.append(label, input, range);
      } else {
        input.append(...dial.choices.map((words) => new Option(words || "times of its own", words, words === dial.now, words === dial.now)));
        input.addEventListener("change", () => to(input.value));
        box.append(label, input);
      }
      return box;
    }));
  }

  // Read and findings at once, the scenarios when the dials have come to rest.
  let resting, turns = 0;
  function turned() {
    read();
    if (!baked) judge();
  }

  async function judge() {
    const turn = (turns += 1);
    running();
    clearTimeout(resting);
    try {
      const found = await ask("judge", now(), { turn });
      judged(found);
      all("#what [data-routine]").forEach((one) => (one.disabled = !found.routine));
      if (found.routine) running("The scenarios and a sweep of the read routine are running.");
      resting = setTimeout(() => scenarios(turn), 120);
    } catch (error) {
      trouble(error);
      if (error.name !== "AbortError") { verdict("", "–", "This sheet cannot be."); failing([]); }
    }
  }

  function judged(found) {
    const list = document.createElement("ul");
    const open = by("findings").querySelector(".folded")?.open;
    by("findings").innerHTML = found.html;
    if (open) by("findings").querySelector(".folded")?.setAttribute("open", "");
    list.append(...found.changed.map(({ id, verdict, says }) => item(`${{ pass: "✓ holds now", fail: "✗ fails now", "not-judged": "– not judged now" }[verdict]}: ${id}: ${says}`, verdict)));
    by("changed").replaceChildren(...(found.changed.length ? [list] : []));
    by("findings").dataset.verdict = found.verdict;
    failing(found.failing);
  }

  async function scenarios(turn) {
    try {
      const found = await ask("verdict", now(), { turn });
      if (found.stale) return turn === turns && scenarios(turn);
      if (found.judged) judged(found.judged);
      const wrong = found.scenarios.filter((one) => one.wrong !== null);
      verdict(found.verdict, found.verdict === "pass" ? "✓ Passes." : "✗ FAILS.",
        wrong.length ? `${wrong.length} of ${found.scenarios.length} scenarios go wrong.` : `All ${found.scenarios.length} scenarios come out as they should${found.verdict === "fail" ? ", but a finding fails" : ""}.`);
      by("scenarios").replaceChildren(...found.scenarios.map((one) => item(one.wrong === null ? `✓ ${one.name}` : `✗ ${one.name}: ${one.wrong}`, one.wrong === null ? "" : "bad")));
    } catch (error) { trouble(error); }
  }

  function verdict(kind, word, says) {
    const strong = document.createElement("strong");
    strong.textContent = word;
    by("verdict").className = `verdict ${kind}`;
    by("verdict").replaceChildren(strong, ` ${says}`);
  }

  function running(says = "The scenarios are running.") {
    verdict("running", "…", says);
    by("scenarios").replaceChildren();
  }

  // --- tour ----------------------------------------------------------------------------------------

  const stepState = (place) => ({ ...fresh(), ...config.tour[place].state });

  async function step(place) {
    const li = all("#tour .step")[place], spot = li.querySelector(".wave");
    const answer = baked ? baked.tour[place] : await ask("read", stepState(place), {}, "step");
    li.querySelector(".came").textContent = `The console reads ${summary(answer).join(" = ")}.`;
    const wave = spot.wave ?? draw.make(spot, answer.wave);
    await new Promise(requestAnimationFrame);
    wave.read(Math.min(answer.number, wave.wave.reads.length - 1));
    return wave;
  }

  async function go(place) {
    try {
      mine ??= state;
      by("mine").hidden = false;
      state = stepState(place);
      set();
      if (baked) { told = { ...baked.tour[place], own: true, asked: now() }; tell(told); picture(); } else turned();
      await step(place);
      by("reading").scrollIntoView();
    } catch (error) { trouble(error); }
  }

  async function printTour() {
    const waves = [];
    for (let place = 0; place < config.tour.length; place++) waves.push(await step(place));
    document.documentElement.classList.add("printing");
    waves.forEach((one) => { one.paper(); draw.again(one); });
    by("tour").dataset.ready = waves.length;
    print();
    document.documentElement.classList.remove("printing");
    waves.forEach((one) => { one.fit(); draw.again(one); });
  }

  // --- hands ---------------------------------------------------------------------------------------

  // All that can be set, as the state has it.
  function set() {
    all("[role=switch]").forEach((one) => (one.checked = (state.held & one.dataset.bit) > 0));
    for (const [id, key] of [["what", "event"], ["bit", "bit"], ["extra", "extra"], ["corner", "corner"]]) if (by(id)) by(id).value = state[key];
    by("fetch").hidden = state.event !== "fetch";
    all(".kind").forEach((one) => (one.value = kindOf(one.parentElement.querySelector("span").textContent)));
    for (const box of all(".dial")) {
      const dial = config.dials.find((one) => one.key === box.dataset.key), words = state.dials[dial.key] ?? dial.now;
      box.classList.toggle("turned", dial.key in state.dials);
      const field = box.querySelector("select, input[type=text]"), range = box.querySelector("input[type=range]");
      if (field) field.value = words;
      if (range) range.value = dial.choices.indexOf(words);
    }
  }

  all("[role=switch]").forEach((one) => one.addEventListener("change", () => {
    state.held = (state.held & ~one.dataset.bit) | (one.checked ? Number(one.dataset.bit) : 0);
    read();
  }));
  const tap = (bit, down) => {
    const was = taps;
    taps = down ? taps | bit : taps & ~bit;
    all(".tap").forEach((one) => one.classList.toggle("down", (taps & one.dataset.bit) > 0));
    if (was !== taps) read();
  };
  for (const one of all(".tap")) {
    const bit = Number(one.dataset.bit);
    one.addEventListener("pointerdown", (event) => { one.setPointerCapture(event.pointerId); tap(bit, true); });
    for (const kind of ["pointerup", "pointercancel", "blur"]) one.addEventListener(kind, () => tap(bit, false));
    one.addEventListener("keydown", (event) => { if ([" ", "Enter"].includes(event.key)) { event.preventDefault(); tap(bit, true); } });
    one.addEventListener("keyup", (event) => { if ([" ", "Enter"].includes(event.key)) tap(bit, false); });
  }
  const typing = ({ target, ctrlKey, metaKey, altKey }) => ctrlKey || metaKey || altKey || target.matches("input:not([type=checkbox], [type=radio]), select, textarea");
  for (const [kind, down] of [["keydown", true], ["keyup", false]]) {
    addEventListener(kind, (event) => { if (/^[1-8]$/.test(event.key) && !(down && typing(event))) tap(128 >> (event.key - 1), down); });
  }
  addEventListener("blur", () => { if (taps) tap(255, false); });
  for (const [id, held] of [["none", 0], ["every", 255]]) by(id).addEventListener("click", () => { state.held = held; set(); read(); });
  for (const [id, key] of [["what", "event"], ["bit", "bit"], ["extra", "extra"], ["corner", "corner"]]) {
    by(id)?.addEventListener("change", () => {
      state[key] = typeof state[key] === "number" ? number(id) : by(id).value;
      delete by("digital").dataset.kept;
      set();
      read();
    });
  }
  by("mine").addEventListener("click", () => {
    [state, mine] = [mine, null];
    by("mine").hidden = true;
    set();
    turned();
  });
  by("single").addEventListener("click", () => { by("running").checked = false; picture(); });
  by("running").addEventListener("change", () => { if (by("running").checked) picture(); });
  by("fit").addEventListener("click", () => {
    toRead();
    if (!shown?.volts || !by("volts")) return;
    const wants = shown.volts.length / (ACROSS - 1);
    by("time").value = [...by("time").options].find((one) => Number(one.value) >= wants).value;
    by("from").value = -50;
    if (scope) plotVolts();
  });
  by("frame").addEventListener("click", () => { by("digital").dataset.kept = 1; face.whole(); });
  by("time").addEventListener("change", () => {
    const from = Math.max(face.from, 0);
    by("digital").dataset.kept = 1;
    face.show(from, from + (ACROSS * number("time")) / face.wave.unit);
    if (scope && shown.volts) plotVolts();
  });
  by("digital").addEventListener("click", () => (by("digital").dataset.kept = 1));

  if (!baked) {
    makeDials();
    set();
    by("reset").addEventListener("click", () => { state.dials = {}; set(); turned(); });
    for (const [id, kind] of [["volts", "change"], ["from", "input"]]) by(id).addEventListener(kind, () => scope && shown.volts && plotVolts());
    for (const id of ["c1", "c2"]) by(id).addEventListener("input", measure);
    all("[name=view]").forEach((one) => one.addEventListener("change", () => {
      const analogue = document.querySelector("[name=view]:checked").value === "analogue";
      document.body.classList.toggle("volts", analogue);
      if (!analogue) { face.fit(); return; }
      if (!scope) makeScope();
      voltages().then(() => by("fit").click());
    }));
    by("keep").addEventListener("submit", async (event) => {
      event.preventDefault();
      const said = document.createElement("p"), line = document.createElement("pre");
      try {
        const kept = await ask("keep", now(), { name: by("name").value });
        said.textContent = `Kept: ${kept.files.join(", ")}.${kept.missing ? ` Missing: ${kept.missing}.` : ""} To play it again:`;
        line.textContent = kept.command;
      } catch (error) { said.textContent = error.message; said.className = "bad"; }
      by("kept").replaceChildren(said, line);
    });
    judge();
  } else failing(baked.failing);
  all(".go").forEach((one) => one.addEventListener("click", () => go(Number(one.dataset.step))));
  by("print").addEventListener("click", () => printTour().catch(trouble));
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
    all(".wave").forEach((one) => one.wave && draw.again(one.wave));
    scope?.plot.redraw(false, true);
  });
  read();
})();

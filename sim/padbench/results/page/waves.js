// The waves of the page: uPlot gives axis, scale, zoom and cursor; the rows are drawn here.
"use strict";
(() => {
  const BUTTONS = ["A", "B", "Select", "Start", "Up", "Down", "Left", "Right"];
  const NARROW = 560;
  const HEIGHT = { marks: 16, reads: 34, wire: 26, data: 58, contact: 17 };
  const AXIS = 34, PAPER = 680;
  const runs = JSON.parse(document.getElementById("wave-data")?.textContent ?? "[]");

  // --- data ------------------------------------------------------------------------------------

  function times(text) {
    let at = 0;
    return text === "" ? [] : text.split(" ").map((part) => (at += parseInt(part, 36)));
  }

  function unpack(raw) {
    const { unit, end, first, offset, marks, notes, opens } = raw;
    const wave = { unit, end, first, offset, marks, notes, opens, edges: [] };
    wave.rows = raw.rows.map(([name, levels, gaps]) => ({
      name, times: times(gaps), levels: Uint8Array.from(levels, Number),
    }));
    const samples = times(raw.samples);
    let next = 0;
    wave.samples = [];
    wave.reads = raw.reads.map(([start, latchEnd, count, byte, expected, undecided, right]) => {
      const read = { start, latchEnd, byte, expected, undecided, right: right === 1 };
      read.samples = samples.slice(next, next + count);
      next += count;
      read.samples.forEach((at, place) => wave.samples.push({ at, place, read }));
      read.end = Math.max(latchEnd, ...read.samples);
      return read;
    });
    wave.edges = [...new Set(wave.rows.flatMap((row) => row.times))].sort((a, b) => a - b);
    return wave;
  }

  // Place of the last entry that is not after `at`; -1 if there is none.
  function lastBefore(list, at, of = (x) => x) {
    let low = 0, high = list.length;
    while (low < high) {
      const middle = (low + high) >> 1;
      if (of(list[middle]) <= at) low = middle + 1; else high = middle;
    }
    return low - 1;
  }

  function levelAt(row, at) {
    const place = lastBefore(row.times, at);
    return place < 0 ? 2 : row.levels[place];
  }

  function spelled(byte) {
    if (byte === 255) return "all eight";
    return BUTTONS.filter((_, place) => byte & (128 >> place)).join("+") || "nothing";
  }

  // Undecided bits are neither pressed nor released.
  function readAs({ byte, undecided }) {
    if (!undecided) return spelled(byte);
    if (undecided === 255) return "undecided";
    const sure = byte & ~undecided;
    return `${sure ? `${spelled(sure)}, ` : ""}${spelled(undecided)} undecided`;
  }

  function bitsOf({ byte, undecided }) {
    return BUTTONS.map((_, place) => {
      const bit = 128 >> place;
      return undecided & bit ? "?" : byte & bit ? "1" : "0";
    }).join("");
  }

  function shown(units, unit, span) {
    const ps = units * unit, size = Math.abs(span === undefined ? ps : span * unit);
    const [factor, name] =
      size >= 1e12 ? [1e12, "s"] : size >= 1e9 ? [1e9, "ms"] : size >= 1e6 ? [1e6, "µs"] : [1e3, "ns"];
    const text = (ps / factor).toFixed(factor === 1e3 ? 1 : 4).replace(/\.?0+$/, "");
    return `${text.replace("-", "−")} ${name}`;
  }

  // --- drawing ---------------------------------------------------------------------------------

  function colours() {
    const style = getComputedStyle(document.documentElement);
    const names = ["paper", "card", "rule", "ink", "soft", "teal", "bad", "good", "hatch", "band"];
    return Object.fromEntries(names.map((name) => [name, style.getPropertyValue(`--${name}`).trim()]));
  }

  function layout(wave, wide) {
    // A cause stands in full at its event on a telephone too: below the signs, in two lines.
    wave.lane = HEIGHT.marks * (wide < NARROW && wave.notes.length + wave.marks.length ? 3 : 1);
    let top = wave.lane + HEIGHT.reads;
    for (const row of wave.rows) {
      const kind = row.name === "data" ? "data" : BUTTONS.includes(row.name) ? "contact" : "wire";
      row.kind = kind;
      row.top = top;
      row.tall = HEIGHT[kind];
      top += row.tall;
    }
    return top;
  }

  function drawAll(plot, wave, view) {
    const c = colours(), ctx = plot.ctx, dpr = devicePixelRatio || 1;
    const { left, top, width, height } = plot.bbox;
    ctx.save();
    ctx.scale(dpr, dpr);
    const box = { left: left / dpr, top: top / dpr, width: width / dpr, height: height / dpr };
    const from = plot.scales.x.min, to = plot.scales.x.max;
    const x = (at) => box.left + ((at - from) / (to - from)) * box.width;
    const pen = { ctx, c, box, from, to, x, wave };
    ctx.setLineDash([]);
    ctx.font = "12px system-ui, sans-serif";
    ctx.textBaseline = "middle";
    ctx.fillStyle = c.ink;
    ctx.textAlign = "right";
    if (wave.marks.length || wave.notes.length) ctx.fillText(wave.marks.length ? "faults" : "events", box.left - 6, box.top + HEIGHT.marks / 2);
    ctx.fillText("reads", box.left - 6, box.top + wave.lane + HEIGHT.reads / 2);
    for (const row of wave.rows) {
      ctx.fillText(row.name, box.left - 6, box.top + row.top + row.tall / 2 + (row.kind === "data" ? 15 : 0));
    }
    ctx.beginPath();
    ctx.rect(box.left, box.top, box.width, box.height);
    ctx.clip();
    drawReads(pen);
    for (const row of wave.rows) drawRow(pen, row);
    drawMarks(pen);
    drawSamples(pen);
    if (view.mark !== null) line(pen, view.mark, c.teal, [2, 2], "M");
    ctx.restore();
  }

  function drawReads({ ctx, c, box, from, to, x, wave }) {
    const first = Math.max(0, lastBefore(wave.reads, from, (read) => read.start));
    let drawnTo = -Infinity;
    for (let i = first; i < wave.reads.length && wave.reads[i].start <= to; i++) {
      const read = wave.reads[i], a = x(read.start), b = Math.max(x(read.end), a + 1);
      if (b < drawnTo + 1) continue;
      drawnTo = b;
      const top = box.top + wave.lane + 5, tall = HEIGHT.reads - 10;
      ctx.fillStyle = c.band;
      ctx.fillRect(a, top, b - a, tall);
      ctx.lineWidth = read.right ? 1 : 3;
      ctx.strokeStyle = read.right ? c.soft : c.bad;
      ctx.strokeRect(a + 0.5, top, b - a - 1, tall);
      const bits = bitsOf(read), as = readAs(read);
      const sign = read.right ? "" : "✗ ";
      const texts = [
        `${sign}read ${wave.first + i}: ${bits} = ${as}` + (read.right ? "" : `, expected ${spelled(read.expected)}`),
        `${sign}${bits} ${as}`, `${sign}${as}`, `${sign}${wave.first + i}`, sign,
      ];
      const seenLeft = Math.max(a, box.left), seen = Math.min(b, box.left + box.width) - seenLeft;
      const text = texts.find((t) => ctx.measureText(t).width + 10 < seen);
      if (text) {
        ctx.fillStyle = read.right ? c.ink : c.bad;
        ctx.textAlign = "left";
        ctx.fillText(text, seenLeft + 5, top + tall / 2);
      }
    }
  }

  function drawRow({ ctx, c, box, from, to, x }, row) {
    const pad = row.kind === "contact" ? 3 : 5;
    const high = box.top + row.top + (row.kind === "data" ? 34 : pad), low = box.top + row.top + row.tall - pad;
    const y = [low, high, (low + high) / 2, (low + high) / 2];
    // Contacts have no rule between them: their own line is one.
    if (row.kind !== "contact") {
      ctx.strokeStyle = c.rule;
      ctx.lineWidth = 1;
      ctx.beginPath();
      ctx.moveTo(box.left, box.top + row.top - 0.5);
      ctx.lineTo(box.left + box.width, box.top + row.top - 0.5);
      ctx.stroke();
    }
    const path = new Path2D(), unknown = [];
    ctx.fillStyle = c.rule;
    let place = lastBefore(row.times, from);
    let level = place < 0 ? 2 : row.levels[place], px = box.left;
    path.moveTo(px, y[level]);
    for (place += 1; ; place++) {
      const over = place >= row.times.length || row.times[place] > to;
      const nx = over ? box.left + box.width : x(row.times[place]);
      if (level === 2) unknown.push([px, nx - px]);
      if (level === 1 && row.kind === "contact") ctx.fillRect(px, high, nx - px, low - high);
      path.lineTo(nx, y[level]);
      if (over) break;
      level = row.levels[place];
      path.lineTo(nx, y[level]);
      px = nx;
    }
    ctx.strokeStyle = row.kind === "contact" ? c.soft : row.kind === "data" ? c.teal : c.ink;
    ctx.lineWidth = row.kind === "data" ? 2 : 1.5;
    ctx.stroke(path);
    for (const [at, wide] of unknown) hatch(ctx, c, at, high, wide, low - high);
  }

  function hatch(ctx, c, left, top, wide, tall) {
    if (wide < 1) return;
    ctx.save();
    ctx.beginPath();
    ctx.rect(left, top, wide, tall);
    ctx.clip();
    ctx.fillStyle = c.paper;
    ctx.fillRect(left, top, wide, tall);
    ctx.strokeStyle = c.hatch;
    ctx.lineWidth = 1;
    ctx.beginPath();
    for (let at = left - tall; at < left + wide; at += 6) {
      ctx.moveTo(at, top + tall);
      ctx.lineTo(at + tall, top);
    }
    ctx.rect(left + 0.5, top + 0.5, wide - 1, tall - 1);
    ctx.stroke();
    ctx.restore();
  }

  function drawSamples({ ctx, c, box, from, to, x, wave }) {
    const row = wave.rows.find((one) => one.kind === "data");
    if (!row) return;
    const top = box.top + row.top, labels = [];
    for (let i = Math.max(0, lastBefore(wave.samples, from, (s) => s.at)); i < wave.samples.length; i++) {
      const { at, place, read } = wave.samples[i];
      if (at > to) break;
      const px = x(at), near = read.samples;
      // Too close to tell apart: the box of the read says its byte.
      if (near.length > 1 && x(near[1]) - x(near[0]) < 9) continue;
      const bit = 128 >> place;
      // Past the byte the wire itself says it, as it stood just before.
      const level = levelAt(row, at - 0.5), past = place >= 8;
      const pressed = past ? level === 0 : read.byte & bit, unsure = past ? level > 1 : read.undecided & bit;
      const wrong = place < 8 && (read.byte ^ read.expected) & bit;
      ctx.strokeStyle = ctx.fillStyle = wrong ? c.bad : c.ink;
      ctx.lineWidth = 1;
      ctx.beginPath();
      ctx.moveTo(px, top + 33);
      ctx.lineTo(px, top + row.tall - 4);
      ctx.stroke();
      ctx.beginPath();
      if (unsure) {
        ctx.rect(px - 3.5, top + 26, 7, 7);
        ctx.moveTo(px - 3.5, top + 33);
        ctx.lineTo(px + 3.5, top + 26);
      } else {
        ctx.moveTo(px - 4, top + 26);
        ctx.lineTo(px + 4, top + 26);
        ctx.lineTo(px, top + 33);
        ctx.closePath();
      }
      if (pressed && !unsure) ctx.fill(); else ctx.stroke();
      const name = place < 8 ? BUTTONS[place] : String(place + 1);
      labels.push({ px, name, sign: unsure ? "?" : wrong ? "✗" : "", colour: ctx.fillStyle });
    }
    nameSamples(ctx, top, labels, box.left + box.width, c.paper);
  }

  // What is wrong or undecided has its name first, above if there is no room beside the others, and
  // its sign where there is none at all; the others have what is left.
  function nameSamples(ctx, top, labels, right, paper) {
    const taken = [[], []];
    ctx.textAlign = "center";
    const put = (text, { px: sampled, colour }, line) => {
      const half = ctx.measureText(text).width / 2, px = Math.min(sampled, right - half);
      if (taken[line].some(([a, b]) => px - half < b + 3 && px + half > a - 3)) return false;
      taken[line].push([px - half, px + half]);
      // The line of a mark goes behind the name, not through it.
      ctx.fillStyle = paper;
      ctx.fillRect(px - half - 1, top + (line ? 0 : 12), 2 * half + 2, 13);
      ctx.fillStyle = colour;
      ctx.fillText(text, px, top + (line ? 7 : 19));
      return true;
    };
    for (const one of labels.filter(({ sign }) => sign)) {
      const text = one.sign + one.name;
      if (!put(text, one, 0) && !put(text, one, 1) && !put(one.sign, one, 0)) put(one.sign, one, 1);
    }
    for (const one of labels.filter(({ sign }) => !sign)) put(one.name, one, 0);
  }

  function line({ ctx, box, x }, at, colour, dash, sign) {
    const px = x(at);
    ctx.strokeStyle = ctx.fillStyle = colour;
    ctx.lineWidth = 2;
    ctx.setLineDash(dash);
    ctx.beginPath();
    ctx.moveTo(px, box.top + HEIGHT.marks);
    ctx.lineTo(px, box.top + box.height);
    ctx.stroke();
    ctx.setLineDash([]);
    ctx.textAlign = "center";
    ctx.fillText(sign, px, box.top + HEIGHT.marks / 2);
  }

  // A fault has a cross, what only happens a triangle; what it is stands beside it where there is room.
  function drawMarks(pen) {
    const { ctx, c, box, from, to, x, wave } = pen, right = box.left + box.width;
    const words = new Map(wave.notes), faults = new Set(wave.marks.map(([at]) => at));
    const shown = [];
    for (const at of [...new Set([...faults, ...words.keys()])].sort((a, b) => a - b)) {
      if (at < from || at > to) continue;
      const says = words.get(at) ?? "", bad = faults.has(at) || /^wrong|undecided$/.test(says);
      const last = shown.at(-1), near = x(at) - (last?.px ?? -Infinity), apart = bad !== last?.bad;
      // Where there is no room for both, a fault is shown and not what only happens.
      if (near < (apart ? 9 : 14)) {
        if (!bad || !apart) continue;
        shown.pop();
      }
      shown.push({ at, px: x(at), bad, says });
    }
    // A fault that nothing explains in a few words is said as it was found.
    for (const one of shown) {
      if (!one.says && faults.has(one.at)) one.says = wave.marks.find(([at]) => at === one.at)[1];
    }
    const inked = (bad) => (bad ? c.bad : c.teal);
    shown.forEach(({ at, bad }) => line(pen, at, inked(bad), bad ? [6, 3] : [2, 4], bad ? "✗" : "▾"));
    let free = box.left;
    shown.forEach(({ px, bad, says }, place) => {
      ctx.fillStyle = inked(bad);
      const next = shown[place + 1]?.px ?? right + 8, start = free;
      free = px + 8;
      // In full or up to its colon, to the right of the sign or to its left; never cut within. On a
      // narrow page in full below the sign, where that covers nothing.
      for (const text of says ? [says, says.split(":")[0]] : []) {
        const wide = ctx.measureText(text).width;
        const fits = px + 9 + wide <= next - 8 ? "left" : px - 9 - wide >= start ? "right" : "";
        if (!fits && !below(pen, text, px)) continue;
        if (!fits) break;
        ctx.textAlign = fits;
        ctx.fillText(text, fits === "left" ? px + 9 : px - 9, box.top + HEIGHT.marks / 2);
        if (fits === "left") free = px + 9 + wide;
        break;
      }
    });
  }

  // In lines below the signs, as near to its own as the box leaves it; says whether there was room.
  function below(pen, text, px) {
    const { ctx, c, box, wave } = pen, lines = [""];
    for (const word of text.split(" ")) {
      const longer = `${lines.at(-1)} ${word}`.trim();
      if (ctx.measureText(longer).width <= box.width) lines[lines.length - 1] = longer;
      else lines.push(word);
    }
    const wide = Math.max(...lines.map((one) => ctx.measureText(one).width));
    const left = Math.min(Math.max(px - wide / 2, box.left), box.left + box.width - wide);
    const rows = wave.lane / HEIGHT.marks - 1, taken = pen.taken ??= Array(rows).fill(box.left);
    const row = taken.findIndex((_, at) => at + lines.length <= rows
      && taken.slice(at, at + lines.length).every((to) => to <= left));
    if (row < 0) return false;
    const ink = ctx.fillStyle;
    ctx.textAlign = "left";
    lines.forEach((one, place) => {
      const top = box.top + HEIGHT.marks * (row + place + 1);
      taken[row + place] = left + wide + 8;
      ctx.fillStyle = c.paper;
      ctx.fillRect(left - 2, top, wide + 4, HEIGHT.marks);
      ctx.fillStyle = ink;
      ctx.fillText(one, left, top + HEIGHT.marks / 2);
    });
    return true;
  }

  // --- one wave --------------------------------------------------------------------------------

  class Wave {
    constructor(place, raw) {
      this.place = place;
      this.wave = unpack(raw);
      this.view = { mark: null };
      this.at = 0;
      const bottom = layout(this.wave, place.clientWidth);
      this.face = document.createElement("div");
      this.face.className = "face";
      this.face.tabIndex = 0;
      this.face.setAttribute("role", "application");
      this.face.setAttribute("aria-label", place.dataset.label);
      this.face.setAttribute("aria-describedby", "keys");
      this.said = document.createElement("output");
      this.said.setAttribute("aria-label", "Levels at the cursor");
      place.append(this.tools(), this.face, this.said);
      this.plot = new uPlot(this.options(bottom), [[0, this.wave.end], [0, 0]], this.face);
      place.wave = this;
      place.dataset.drawn = this.wave.rows.reduce((sum, row) => sum + row.times.length, 0);
      this.face.addEventListener("keydown", (event) => this.key(event));
      this.face.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
      this.face.addEventListener("mousedown", (event) => this.grab(event), true);
      this.fingers = new Map();
      for (const kind of ["pointerdown", "pointermove", "pointerup", "pointercancel"]) {
        this.face.addEventListener(kind, (event) => this.touch(event));
      }
      new ResizeObserver(() => this.fit()).observe(this.face);
    }

    // Another run in the same place; the view is left to who asks.
    update(raw) {
      this.wave = unpack(raw);
      this.place.dataset.drawn = this.wave.rows.reduce((sum, row) => sum + row.times.length, 0);
      this.current = undefined;
      const height = layout(this.wave, this.place.clientWidth) + AXIS;
      if (height !== this.plot.height) this.plot.setSize({ width: this.plot.width, height });
      this.plot.setData([[0, this.wave.end], [0, 0]], false);
    }

    options(bottom) {
      return {
        width: this.width(), height: bottom + AXIS, legend: { show: false }, padding: [0, 26, 0, 0],
        scales: { x: { time: false }, y: { range: [0, 1] } },
        series: [{}, { show: false }],
        axes: [
          {
            size: AXIS, space: 90, font: "12px system-ui, sans-serif",
            stroke: () => colours().ink, grid: { stroke: () => colours().rule, width: 1, dash: [1, 4] },
            ticks: { stroke: () => colours().rule },
            values: (plot, splits) => {
              const { min, max } = plot.scales.x, base = this.reference(min, max);
              return splits.map((at) => (at === base ? "0" : shown(at - base, this.wave.unit, max - min)));
            },
            splits: (plot, _, from, to) => this.splits(from, to, plot.bbox.width / (devicePixelRatio || 1)),
          },
          { size: 96, values: () => [], splits: () => [], grid: { show: false }, ticks: { show: false } },
        ],
        cursor: { y: false, points: { show: false }, drag: { x: true, y: false } },
        hooks: {
          // Later, since uPlot is in the midst of a commit here and would lose a new scale.
          ready: [() => queueMicrotask(() => this.home())],
          setScale: [(plot) => this.scaled(plot)],
          draw: [(plot) => drawAll(plot, this.wave, this.view)],
          setCursor: [(plot) => this.moved(plot)],
        },
      };
    }

    // The axis counts from the read in view, as a data sheet's figure does.
    reference(from, to) {
      const read = this.wave.reads[Math.max(0, lastBefore(this.wave.reads, (from + to) / 2, (r) => r.start))];
      return read && read.start >= from && read.start <= to ? read.start : 0;
    }

    splits(from, to, wide) {
      const base = this.reference(from, to), ps = ((to - from) / Math.max(2, wide / 95)) * this.wave.unit;
      const power = 10 ** Math.floor(Math.log10(ps));
      const step = ([1, 2, 5, 10].find((n) => n * power >= ps) * power) / this.wave.unit;
      const made = [];
      for (let n = Math.ceil((from - base) / step); base + n * step <= to; n++) made.push(base + n * step);
      return made;
    }

    tools() {
      const bar = document.createElement("div");
      bar.className = "bar-of-tools";
      bar.setAttribute("role", "group");
      bar.setAttribute("aria-label", "View of the wave");
      const tools = [
        ["◂ read", "last read", () => this.step(-1)], ["read ▸", "next read", () => this.step(1)],
        ["+", "zoom in", () => this.zoom(0.5)], ["−", "zoom out", () => this.zoom(2)],
        ["◂", "move the view back", () => this.pan(-0.25)], ["▸", "move the view on", () => this.pan(0.25)],
        ["whole run", "whole run", () => this.whole()], ["mark", "set or clear the mark", () => this.mark()],
      ];
      for (const [text, label, act] of tools) {
        const button = document.createElement("button");
        button.type = "button";
        button.textContent = text;
        button.setAttribute("aria-label", `${text}: ${label}`);
        button.addEventListener("click", act);
        bar.append(button);
      }
      return bar;
    }

    // As wide as A4 leaves room for, whatever the window.
    paper() { this.plot.setSize({ width: PAPER, height: this.plot.height }); }

    width() { return Math.max(200, Math.floor(this.place.clientWidth) - 2); }

    fit() {
      const height = this.plot.height;
      if (document.documentElement.classList.contains("printing")) return;
      if (this.width() !== this.plot.width) this.plot.setSize({ width: this.width(), height });
    }

    show(from, to) {
      const span = Math.min(this.wave.end, Math.max(this.least(), to - from));
      const middle = (from + to) / 2;
      const min = Math.min(Math.max(0, middle - span / 2), this.wave.end - span);
      this.from = min;
      this.to = min + span;
      this.plot.setScale("x", { min: this.from, max: this.to });
      this.place.dataset.from = this.from;
      this.place.dataset.to = this.to;
      this.point();
      this.tell();
    }

    // By dragging or double click, which uPlot does by itself. Its own scale follows late.
    scaled(plot) {
      const { min, max } = plot.scales.x;
      if (min === undefined || min === null || (min === this.from && max === this.to)) return;
      if (this.from !== undefined) this.show(min, max);
    }

    least() { return Math.min(this.wave.end, Math.max(4, 1000 / this.wave.unit)); }

    whole() { this.show(0, this.wave.end); }

    // First what went wrong, else what happens, else the first read in which something is pressed.
    home() {
      const { reads, marks, notes, opens } = this.wave, event = (marks[0] ?? notes[0])?.[0];
      let place = event === undefined ? -1 : lastBefore(reads, event, (r) => r.start);
      // A latch that comes too soon is seen at the end of the read that it cuts short.
      if (place > 0 && event === reads[place].start && !marks.length) place -= 1;
      if (place < 0) place = reads.findIndex((read) => read.expected !== 0);
      if (opens) {
        this.current = Math.max(0, place);
        this.show(...opens);
        this.cursorTo(event ?? opens[0]);
      } else if (reads.length) {
        this.read(Math.max(0, place));
        if (event > this.to) this.show(this.from, event + (event - this.from) * 0.3);
        if (event >= this.from) this.cursorTo(event);
      } else this.whole();
    }

    read(place) {
      const read = this.wave.reads[place], clocked = read.end - read.latchEnd;
      // Of a latch much longer than the clocks only the end, or they are too close to be named.
      const long = clocked > 0 && read.latchEnd - read.start > 2 * clocked;
      const begin = long ? read.latchEnd - clocked / 2 : read.start;
      const room = Math.max(4, (read.end - begin) * 0.09);
      this.current = place;
      this.at = long ? read.latchEnd : read.start;
      this.show(begin - room, read.end + room);
      this.cursorTo(this.at);
    }

    step(way) {
      const last = this.wave.reads.length - 1;
      if (last >= 0) this.read(Math.min(last, Math.max(0, (this.current ?? 0) + way)));
    }

    zoom(factor) {
      const { from, to, at } = this, about = at >= from && at <= to ? at : (from + to) / 2;
      const span = Math.min(this.wave.end, Math.max(this.least(), (to - from) * factor));
      const start = about - ((about - from) / (to - from)) * span;
      this.show(start, start + span);
      this.cursorTo(this.at);
    }

    pan(share) {
      const by = (this.to - this.from) * share;
      this.show(this.from + by, this.to + by);
    }

    mark() {
      this.view.mark = this.view.mark === null ? this.at : null;
      this.plot.redraw(false);
      this.tell();
    }

    edge(way) {
      const { edges } = this.wave;
      let place = lastBefore(edges, this.at);
      if (way > 0) place += 1; else if (edges[place] === this.at) place -= 1;
      if (place >= 0 && place < edges.length) this.cursorTo(edges[place]);
    }

    cursorTo(at) {
      this.at = Math.min(this.wave.end, Math.max(0, Math.round(at)));
      if (this.at < this.from || this.at > this.to) {
        const half = (this.to - this.from) / 2;
        this.show(this.at - half, this.at + half);
      }
      this.point();
      this.tell();
    }

    // The line of the cursor stands at its time, whatever moved the view; outside it there is none.
    point() {
      const share = (this.at - this.from) / (this.to - this.from), top = share < 0 || share > 1 ? -10 : 1;
      this.left = top < 0 ? top : share * this.plot.over.clientWidth;
      this.plot.setCursor({ left: this.left, top });
    }

    moved(plot) {
      const { left } = plot.cursor;
      // Where it was put by key it is known better than by pixel.
      if (this.from === undefined || left === undefined || left < 0 || left === this.left) return;
      this.left = undefined;
      const share = left / plot.over.clientWidth;
      this.at = Math.min(this.wave.end, Math.max(0, Math.round(this.from + share * (this.to - this.from))));
      this.tell();
    }

    tell() {
      const { wave, at } = this, words = ["low", "high", "unknown", "floating"];
      const place = lastBefore(wave.reads, at, (read) => read.start), read = wave.reads[place];
      const parts = [`cursor ${shown(at + wave.offset, wave.unit)}`];
      if (read) parts.push(`${shown(at - read.start, wave.unit)} into read ${wave.first + place} (${read.right ? "" : "wrong: "}${readAs(read)})`);
      if (this.view.mark !== null) parts.push(`from mark ${shown(at - this.view.mark, wave.unit)}`);
      for (const row of wave.rows) {
        if (row.kind !== "contact") parts.push(`${row.name} ${words[levelAt(row, at)]}`);
      }
      const contacts = wave.rows.filter((row) => row.kind === "contact");
      const closed = contacts.filter((row) => levelAt(row, at) === 1);
      if (contacts.length) parts.push(`closed: ${closed.map((row) => row.name).join("+") || "nothing"}`);
      this.said.textContent = parts.join(" · ");
    }

    key(event) {
      if (event.ctrlKey || event.metaKey || event.altKey) return;
      const fine = (this.to - this.from) / 100;
      const acts = {
        ArrowLeft: () => (event.shiftKey ? this.pan(-0.25) : this.cursorTo(this.at - Math.max(1, fine))),
        ArrowRight: () => (event.shiftKey ? this.pan(0.25) : this.cursorTo(this.at + Math.max(1, fine))),
        e: () => this.edge(1), E: () => this.edge(-1), n: () => this.step(1), p: () => this.step(-1),
        "+": () => this.zoom(0.5), "=": () => this.zoom(0.5), "-": () => this.zoom(2), "−": () => this.zoom(2),
        0: () => this.whole(), m: () => this.mark(),
        Escape: () => { if (this.view.mark !== null) this.mark(); },
      };
      const act = acts[event.key] ?? acts[event.key.toLowerCase()];
      if (act === undefined) return;
      event.preventDefault();
      act();
    }

    // Only with Ctrl, or in a wave that has the focus: a page has to scroll past its waves.
    wheel(event) {
      if (!event.ctrlKey && document.activeElement !== this.face) return;
      event.preventDefault();
      if (Math.abs(event.deltaX) > Math.abs(event.deltaY)) this.pan(Math.sign(event.deltaX) * 0.1);
      else this.zoom(event.deltaY > 0 ? 1.25 : 0.8);
    }

    // One finger moves the view, two zoom it; up and down is left to the page (touch-action).
    touch(event) {
      if (event.pointerType !== "touch") return;
      const { fingers } = this, before = [...fingers.values()];
      if (event.type === "pointerdown") fingers.set(event.pointerId, event.clientX);
      else if (event.type !== "pointermove") fingers.delete(event.pointerId);
      else if (fingers.has(event.pointerId)) {
        fingers.set(event.pointerId, event.clientX);
        this.dragged(before, [...fingers.values()]);
      }
    }

    // What lay under the fingers stays under them.
    dragged(before, now) {
      const { left, width } = this.plot.over.getBoundingClientRect();
      const at = (x) => this.from + ((x - left) / width) * (this.to - this.from);
      if (now.length === 1) {
        const by = at(before[0]) - at(now[0]);
        this.show(this.from + by, this.to + by);
      } else if (now.length === 2 && Math.abs(now[1] - now[0]) > 10) {
        const each = (at(before[1]) - at(before[0])) / (now[1] - now[0]);
        if (each <= 0) return;
        const from = at(before[0]) - (now[0] - left) * each;
        this.show(from, from + width * each);
      }
    }

    // With Shift the wave is dragged instead of zoomed; uPlot must not see such a press.
    grab(event) {
      if (!event.shiftKey || event.button !== 0) return;
      event.stopPropagation();
      event.preventDefault();
      this.face.focus();
      const { from, to } = this, start = event.clientX;
      const each = (to - from) / this.plot.over.clientWidth;
      const move = (now) => this.show(from - (now.clientX - start) * each, to - (now.clientX - start) * each);
      const stop = () => { removeEventListener("mousemove", move); removeEventListener("mouseup", stop); };
      addEventListener("mousemove", move);
      addEventListener("mouseup", stop);
    }
  }

  // --- the page: a wave is made when it comes near, or to be printed ---------------------------

  const places = [...document.querySelectorAll(".wave[data-wave]")];
  const make = (place) => place.wave ?? new Wave(place, runs[Number(place.dataset.wave)]);
  // For pages that get their waves later.
  window.padbench = { make: (place, raw) => new Wave(place, raw), again: (one) => one.plot.redraw(false, true), bitsOf, readAs, spelled, shown, colours };
  const watcher = new IntersectionObserver((entries) => {
    for (const { isIntersecting, target } of entries) {
      if (isIntersecting) { watcher.unobserve(target); make(target); }
    }
  }, { rootMargin: "400px" });
  places.forEach((place) => watcher.observe(place));
  const again = () => places.forEach((place) => place.wave?.plot.redraw(false, true));
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", again);
  addEventListener("beforeprint", () => {
    document.documentElement.classList.add("printing");
    const telling = places.filter((place) => place.closest(".telling"));
    const shown = telling.length ? telling : places.filter((place) => !place.closest("details:not([open])"));
    shown.forEach((place) => { make(place); place.wave.paper(); });
    again();
  });
  addEventListener("afterprint", () => {
    document.documentElement.classList.remove("printing");
    places.forEach((place) => place.wave?.fit());
    again();
  });

  // What a link leads to is unfolded.
  const unfold = () => {
    const target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
    for (let one = target; one; one = one.parentElement) if (one.tagName === "DETAILS") one.open = true;
    target?.scrollIntoView();
  };
  addEventListener("hashchange", unfold);
  if (location.hash) unfold();
})();

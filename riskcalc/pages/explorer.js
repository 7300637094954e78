// Narrow an assumption: keep the draws inside the chosen ranges and show what they say. No library, no network.
"use strict";
(async () => {
  const source = document.getElementById("draws");
  if (!source || !window.DecompressionStream) return;
  const {unpack, decade, group, quantile} = riskcalcPage;
  const BINS = 40, FEWEST = 30, SHOWN = 8;
  const data = JSON.parse(source.textContent);
  const [values, paybackPublished, worthPublished] = await Promise.all([data.values, data.payback, data.worth].map(unpack));
  const stay = data.stay && await unpack(data.stay), until = (d) => (stay ? stay[d] : data.headline);
  const n = worthPublished.length;
  let payback = paybackPublished, worth = worthPublished;
  const inputs = data.inputs.map((input, i) => {
    const column = values.subarray(i * n, (i + 1) * n);
    const low = column.reduce((a, b) => Math.min(a, b)), high = column.reduce((a, b) => Math.max(a, b));
    return {...input, column, low, high, from: 0, to: BINS, edge: (k) => (k >= BINS ? high : low + (high - low) * k / BINS)};
  });

  const money = (x, se) => riskcalcPage.money(x, se, data.money), {percent, filled} = riskcalcPage;

  function figures(kept) {
    const m = kept.length, years = Float64Array.from(kept, (d) => payback[d]).sort();
    const money_ = Float64Array.from(kept, (d) => worth[d]).sort();
    const paid = kept.filter((d) => payback[d] <= until(d)).length / m;
    const mean = money_.reduce((a, b) => a + b, 0) / m;
    const sd = Math.sqrt(money_.reduce((a, b) => a + (b - mean) ** 2, 0) / Math.max(m - 1, 1));
    const loss = money_.filter((x) => x < 0).length / m;
    const bars = new Array(data.horizon + 1).fill(0), bins = new Array(data.edges.length - 1).fill(0);
    const left = data.edges[0], wide = (data.edges[data.edges.length - 1] - left) / bins.length;
    for (const d of kept) {
      bars[payback[d] <= data.horizon ? Math.max(Math.ceil(payback[d]) - 1, 0) : data.horizon] += 1 / m;
      bins[Math.min(Math.max(Math.floor((worth[d] - left) / wide), 0), bins.length - 1)] += 1 / m;
    }
    const half = quantile(years, 0.5);
    return {m, paid, mean, sd, loss, bars, bins, half: half <= data.horizon ? half : Infinity,
      low: quantile(money_, 0.05), high: quantile(money_, 0.95)};
  }

  const element = (tag, settings = {}, ...children) => {
    const made = tag === "svg" || tag === "rect" || tag === "path" || tag === "text" || tag === "line"
      ? document.createElementNS("http://www.w3.org/2000/svg", tag) : document.createElement(tag);
    for (const [name, value] of Object.entries(settings)) made.setAttribute(name, value);
    made.append(...children);
    return made;
  };

  // A histogram: bars of the draws that are kept over the outline of all draws.
  const WIDTH = 330, HEIGHT = 120, FOOT = 18;
  function draw(svg, kept, all, colour, labels) {
    const top = Math.max(...kept, ...all) || 1, step = WIDTH / all.length, up = (x) => (HEIGHT * (1 - x / top)).toFixed(1);
    const outline = all.map((x, i) => `V${up(x)}H${((i + 1) * step).toFixed(1)}`).join("");
    svg.replaceChildren(
      ...kept.map((x, i) => element("rect", {x: (i * step + 0.5).toFixed(1), y: up(x), width: (step - 1).toFixed(1),
        height: (HEIGHT * x / top).toFixed(1), class: colour(i)})),
      element("path", {d: `M0,${HEIGHT}${outline}V${HEIGHT}`, class: "outline"}),
      ...labels.map(([at, text]) => element("text", {x: (at * step).toFixed(1), y: HEIGHT + 14, "text-anchor": "middle"}, text)));
  }

  const panel = document.getElementById("explorer");
  const pick = (name) => panel.querySelector(`[data-part=${name}]`);
  const everyone = Array.from({length: n}, (_, d) => d), all = figures(everyone);
  const span = data.edges[data.edges.length - 1] - data.edges[0], worthAt = (x) => (x - data.edges[0]) / span * all.bins.length;
  const tick = 10 ** decade(span / 3), round = [1, 2, 5, 10].map((k) => k * tick).find((k) => span / k <= 3.6);
  const worthTicks = [];
  for (let x = Math.ceil(data.edges[0] / round) * round; x <= data.edges[data.edges.length - 1]; x += round) worthTicks.push(x);
  const yearStep = [1, 2, 5, 10].find((k) => data.horizon / k <= 8) || 20;

  function update() {
    const kept = everyone.filter((d) => inputs.every((i) =>
      (i.from === 0 || i.column[d] >= i.edge(i.from)) && (i.to === BINS || i.column[d] <= i.edge(i.to))));
    panel.dataset.left = kept.length;
    const few = kept.length < FEWEST, now = few ? null : figures(kept), none = new Array(1).fill(0);
    pick("left").textContent = filled(few ? data.words.few : data.words.left, {kept: group(kept.length, 0), all: group(n, 0)});
    const line = (f, key) => {
      if (!f) return "";
      const root = Math.sqrt(f.m), share = (p) => percent(p, Math.sqrt(p * (1 - p)) / root);
      return {paid: share(f.paid), half: f.half === Infinity ? data.never : group(f.half, 1) + "\u00a0" + data.words.years, loss: share(f.loss),
        mean: money(f.mean, f.sd / root), low: money(f.low, 2 * f.sd / root), high: money(f.high, 2 * f.sd / root)}[key];
    };
    for (const row of panel.querySelectorAll("[data-figure]")) {
      row.children[1].textContent = line(now, row.dataset.figure);
    }
    const years = Array.from({length: data.horizon}, (_, y) => y + 1).filter((y) => y % yearStep === 0 && y <= data.horizon - yearStep);
    draw(pick("payback"), now ? now.bars : none, all.bars, (i) => (i === data.horizon ? "never" : "paid"),
      [...years.map((y) => [y - 0.5, String(y)]), [data.horizon + 0.2, data.words.not]]);
    draw(pick("worth"), now ? now.bins : none, all.bins, (i) => ((data.edges[i] + data.edges[i + 1]) / 2 < 0 ? "never" : "paid"),
      worthTicks.map((x) => [worthAt(x), money(x, round)]));
  }

  for (const [at, input] of inputs.entries()) {
    const counts = new Array(BINS).fill(0);
    for (const v of input.column) counts[Math.min(Math.floor((v - input.low) / (input.high - input.low) * BINS), BINS - 1)] += 1;
    const top = Math.max(...counts), svg = element("svg", {viewBox: `0 0 ${BINS * 5} 40`, "aria-hidden": "true", preserveAspectRatio: "none"});
    const bars = counts.map((c, k) => element("rect", {x: k * 5, y: 40 * (1 - c / top), width: 4.4, height: 40 * c / top}));
    svg.append(...bars);
    const slider = (name, value) => element("input", {type: "range", min: 0, max: BINS, step: 1, value, "aria-label": filled(data.words[name], {input: input.label})});
    const low = slider("lower", 0), high = slider("upper", BINS), said = element("output");
    const set = (from, to) => {
      [input.from, input.to] = [Math.min(from, BINS - 1), Math.max(to, Math.min(from, BINS - 1) + 1)];
      [low.value, high.value] = [input.from, input.to];
      const text = (k) => group(input.factor * input.edge(k), Math.max(0, 1 - decade(input.factor * (input.high - input.low)))), unit = input.unit ? "\u00a0" + input.unit : "";
      low.setAttribute("aria-valuetext", text(input.from) + unit);
      high.setAttribute("aria-valuetext", text(input.to) + unit);
      said.textContent = filled(data.words.between, {low: text(input.from), high: text(input.to)}) + unit;
      said.className = input.from > 0 || input.to < BINS ? "narrowed" : "";
      bars.forEach((bar, k) => bar.setAttribute("class", k >= input.from && k < input.to ? "in" : "out"));
    };
    input.reset = () => set(0, BINS);
    low.addEventListener("input", () => { set(Math.min(+low.value, input.to - 1), input.to); update(); });
    high.addEventListener("input", () => { set(input.from, Math.max(+high.value, input.from + 1)); update(); });
    // Dragging across the little histogram brushes a range; a plain click lets the whole range back in.
    let start = null;
    const bin = (event) => { const box = svg.getBoundingClientRect(); return (event.clientX - box.left) / box.width * BINS; };
    svg.addEventListener("pointerdown", (event) => { start = bin(event); svg.setPointerCapture(event.pointerId); });
    svg.addEventListener("pointermove", (event) => {
      if (start === null) return;
      const [a, b] = [start, bin(event)].sort((x, y) => x - y).map((k) => Math.min(Math.max(k, 0), BINS));
      if (b - a > 0.5) { set(Math.floor(a), Math.ceil(b)); update(); }
    });
    svg.addEventListener("pointerup", (event) => { if (Math.abs(bin(event) - start) <= 0.5) { input.reset(); update(); } start = null; });
    svg.addEventListener("pointercancel", () => { start = null; });
    input.reset();
    pick(at < SHOWN ? "inputs" : "more").append(element("div", {class: "input", "data-key": input.key},
      element("p", {}, input.label), said, element("div", {class: "brush"}, svg, low, high)));
  }
  pick("reset").addEventListener("click", () => { inputs.forEach((input) => input.reset()); update(); });
  pick("rest").hidden = inputs.length <= SHOWN;
  // Figures that the reader types in above change the money of every future; the ranges stay.
  document.addEventListener("own-figures", (event) => {
    payback = event.detail ? event.detail.payback : paybackPublished;
    worth = event.detail ? event.detail.worth : worthPublished;
    update();
  });
  update();
  for (const part of document.querySelectorAll("[data-needs-script]")) part.hidden = false;
})();

// The shape of an uncertain figure: drawn, dragged by its grips, typed by its parameters. Keys work wherever a pointer does.
"use strict";
const riskcalcShape = (() => {
  const WIDE = 400, HIGH = 84, FOOT = 18;
  const WORDS = {fixed: "one number", uniform: "uniform: all values alike", triangular: "triangular: one value likeliest", pert: "PERT: likeliest value, smooth",
    normal: "normal: bell", lognormal: "lognormal: long tail upwards", beta: "beta: between two ends"};
  const LABELS = {value: "value", low: "lowest", mode: "likeliest", high: "highest", mean: "mean", sd: "standard deviation", median: "median", sigma: "spread of the logarithm",
    alpha: "alpha", beta: "beta", weight: "weight of the likeliest", minimum: "cut below", maximum: "cut above"};
  // Where a grip stands, and what it makes of a place on the axis; every other parameter is typed.
  const GRIPS = {
    fixed: {value: [(p) => p.value, (x) => x]},
    uniform: {low: [(p) => p.low, (x) => x], high: [(p) => p.high, (x) => x]},
    triangular: {low: [(p) => p.low, (x) => x], mode: [(p) => p.mode, (x) => x], high: [(p) => p.high, (x) => x]},
    normal: {mean: [(p) => p.mean, (x) => x], sd: [(p) => p.mean + p.sd, (x, p) => Math.max(x - p.mean, 1e-9 * Math.abs(p.mean) || 1e-9)]},
    lognormal: {median: [(p) => p.median, (x, p) => Math.max(x, 1e-6 * p.median)], sigma: [(p) => p.median * Math.exp(p.sigma), (x, p) => Math.max(Math.log(Math.max(x, 1e-12) / p.median), 1e-3)]},
    beta: {low: [(p) => p.low, (x) => x], high: [(p) => p.high, (x) => x]},
  };
  GRIPS.pert = GRIPS.triangular;

  // Height of the density at a place, up to a factor.
  const height = (p, x) => {
    if ((p.minimum !== undefined && x < p.minimum) || (p.maximum !== undefined && x > p.maximum)) return 0;
    const kind = p.distribution;
    if (kind === "normal") return Math.exp(-0.5 * ((x - p.mean) / p.sd) ** 2);
    if (kind === "lognormal") return x <= 0 ? 0 : Math.exp(-0.5 * (Math.log(x / p.median) / p.sigma) ** 2) * p.median / x;
    if (x < p.low || x > p.high) return 0;
    if (kind === "uniform") return 1;
    if (kind === "triangular") return x < p.mode ? (x - p.low) / (p.mode - p.low) : p.high === p.mode ? 1 : (p.high - x) / (p.high - p.mode);
    const span = p.high - p.low, t = Math.min(Math.max((x - p.low) / span, 1e-4), 1 - 1e-4), weight = p.weight === undefined ? 4 : p.weight;
    const [a, b] = kind === "pert" ? [1 + weight * (p.mode - p.low) / span, 1 + weight * (p.high - p.mode) / span] : [p.alpha, p.beta];
    return t ** (a - 1) * (1 - t) ** (b - 1);
  };
  const ends = (p) => {
    let low, high;
    if (p.distribution === "normal") [low, high] = [p.mean - 3 * p.sd, p.mean + 3 * p.sd];
    else if (p.distribution === "lognormal") [low, high] = [p.median * Math.exp(-2.6 * p.sigma), p.median * Math.exp(2.6 * p.sigma)];
    else if (p.distribution === "fixed") [low, high] = [p.value, p.value];
    else [low, high] = [p.low, p.high];
    if (p.minimum !== undefined) low = Math.max(low, p.minimum);
    if (p.maximum !== undefined) high = Math.min(high, p.maximum);
    return [low, high];
  };
  // Another kind that covers much the same: ends and middle carry over.
  const converted = (p, kind) => {
    let [low, high] = ends(p);
    const middle = p.distribution === "fixed" ? p.value : p.mode !== undefined ? p.mode : p.mean !== undefined ? p.mean : p.median !== undefined ? p.median : (low + high) / 2;
    if (low === high) [low, high] = [Math.min(0.8 * middle, 1.2 * middle), Math.max(0.8 * middle, 1.2 * middle)];
    if (low === high) [low, high] = [middle, middle + 1];
    const made = {fixed: {value: middle}, uniform: {low, high}, triangular: {low, mode: middle, high}, pert: {low, mode: middle, high}, normal: {mean: middle, sd: (high - low) / 4},
      lognormal: {median: Math.max(middle, 1e-9), sigma: Math.max(0.02, Math.log(Math.max(high, 1e-9) / Math.max(middle, 1e-9)) / 2 || 0.2)}, beta: {alpha: 2, beta: 2, low, high}}[kind];
    return {distribution: kind, ...made, ...(p.source ? {source: p.source} : {})};
  };
  const rounded = (x) => Number(Number(x).toPrecision(4));
  const written = (p) => {
    if (p.distribution === "fixed" && !p.source) return String(p.value);
    const parts = Object.entries(p).filter(([name, value]) => value !== undefined && value !== "" && !(name === "distribution" && p.distribution === "fixed"));
    return `{ ${parts.map(([name, value]) => `${name} = ${typeof value === "string" ? JSON.stringify(value) : value}`).join(", ")} }`;
  };

  // The editor of one key; `send(text)` asks for the value as written, `make` and `drawn` build nodes.
  const editor = (key, kinds, {make, drawn, send}) => {
    let p = key.shape ? {...key.shape.parameters} : {distribution: "fixed", value: Number(key.value)};
    const box = make("div", undefined, {class: "editor"}), low = key.low === null ? -Infinity : key.low, high = key.high === null ? Infinity : key.high;
    const choose = make("select", undefined, {id: `kind-${key.key}`});
    if (!kinds[p.distribution]) choose.append(make("option", p.distribution, {value: p.distribution}));
    for (const kind of Object.keys(kinds)) choose.append(make("option", WORDS[kind], {value: kind}));
    choose.value = p.distribution;
    const head = make("p");
    head.append(make("label", "Shape", {for: choose.id}), choose);
    const svg = drawn("svg", {class: "shape", viewBox: `0 0 ${WIDE} ${HIGH + FOOT}`, role: "group", "aria-label": `Shape of ${key.label}`}), typed = make("div", undefined, {class: "parameters"});
    box.append(head, svg, typed);
    let view = [0, 1];
    const at = (x) => (x - view[0]) / (view[1] - view[0]) * WIDE;
    const within = (x) => Math.min(high, Math.max(low, x));
    const look = () => {
      const [from, to] = ends(p), room = 0.25 * (to - from) || 0.25 * Math.abs(to) || 1;
      view = [Math.max(from - room, low === -Infinity ? -Infinity : low - 0.02 * room), Math.min(to + room, high === Infinity ? Infinity : high + 0.02 * room)];
      if (!(view[1] > view[0])) view = [from - room, to + room];
    };
    const paint = () => {
      const points = Array.from({length: 161}, (_, i) => view[0] + (view[1] - view[0]) * i / 160), heights = points.map((x) => (p.distribution === "fixed" ? 0 : height(p, x))), top = Math.max(...heights) || 1;
      svg.querySelector("path.area").setAttribute("d", `M0,${HIGH}${points.map((x, i) => `L${at(x).toFixed(1)},${(HIGH - (HIGH - 10) * heights[i] / top).toFixed(1)}`).join("")}L${WIDE},${HIGH}Z`);
      for (const grip of svg.querySelectorAll(".grip")) {
        const [place] = GRIPS[p.distribution][grip.dataset.name], x = Math.min(WIDE - 7, Math.max(7, at(place(p))));
        grip.setAttribute("transform", `translate(${x.toFixed(1)},${HIGH})`);
        grip.setAttribute("aria-valuenow", rounded(p[grip.dataset.name]));
        grip.setAttribute("aria-valuetext", `${rounded(p[grip.dataset.name])} ${key.unit}`.trim());
      }
      for (const field of typed.querySelectorAll("input[data-name]")) if (field !== document.activeElement) field.value = p[field.dataset.name] === undefined ? "" : p[field.dataset.name];
    };
    const commit = () => send(written(p));
    const grip = (name) => {
      const [, take] = GRIPS[p.distribution][name], spread = name === "sd" || name === "sigma";
      const node = drawn("g", {class: spread ? "grip spread" : "grip", tabindex: 0, role: "slider", "aria-label": `${LABELS[name]} of ${key.label}`, "aria-orientation": "horizontal"});
      node.dataset.name = name;
      node.id = `grip-${key.key}-${name}`;
      if (low !== -Infinity && !spread) node.setAttribute("aria-valuemin", low);
      if (high !== Infinity && !spread) node.setAttribute("aria-valuemax", high);
      // A tall bar with a wide invisible one around it, so that a finger finds it.
      node.append(drawn("rect", {x: -14, y: -40, width: 28, height: 56, class: "reach"}), drawn("rect", {x: -3, y: spread ? -26 : -14, width: 6, height: spread ? 26 : 22, rx: 2, class: "bar"}));
      const move = (x) => {
        p[name] = rounded(take(within(x), p));
        if (p.distribution === "triangular" || p.distribution === "pert") {
          if (name === "low") p.low = Math.min(p.low, p.mode);
          if (name === "high") p.high = Math.max(p.high, p.mode);
          if (name === "mode") p.mode = Math.min(p.high, Math.max(p.low, p.mode));
        }
        paint();
      };
      node.addEventListener("pointerdown", (event) => {
        event.preventDefault();
        node.focus();
        node.setPointerCapture(event.pointerId);
        node.classList.add("held");
        const frame = svg.getBoundingClientRect(), follow = (moved) => move(view[0] + (moved.clientX - frame.left) / frame.width * (view[1] - view[0]));
        const end = () => { node.classList.remove("held"); node.removeEventListener("pointermove", follow); commit(); };
        node.addEventListener("pointermove", follow);
        node.addEventListener("lostpointercapture", end, {once: true});
      });
      node.addEventListener("keydown", (event) => {
        const step = {ArrowLeft: -1, ArrowDown: -1, ArrowRight: 1, ArrowUp: 1, PageDown: -10, PageUp: 10}[event.key];
        if (!step) return;
        event.preventDefault();
        move(GRIPS[p.distribution][name][0](p) + step * (view[1] - view[0]) / 100);
        commit();
      });
      return node;
    };
    const build = () => {
      look();
      svg.replaceChildren(drawn("path", {class: "area"}), drawn("path", {class: "axis", d: `M0,${HIGH}H${WIDE}`}));
      const span = view[1] - view[0], rough = 10 ** Math.floor(Math.log10(span / 4)), step = [1, 2, 5, 10].map((k) => k * rough).find((k) => span / k <= 5);
      for (let x = Math.ceil(view[0] / step) * step; x <= view[1]; x += step) if (at(x) > 12 && at(x) < WIDE - 12) svg.append(drawn("text", {x: at(x).toFixed(1), y: HIGH + FOOT - 2}, String(rounded(x))));
      const own = kinds[p.distribution];
      if (own) svg.append(...Object.keys(GRIPS[p.distribution]).map(grip));
      svg.toggleAttribute("hidden", !own);
      typed.replaceChildren();
      const names = own ? [...own, ...(p.distribution === "normal" || p.distribution === "lognormal" ? ["minimum", "maximum"] : [])] : [];
      for (const name of names) {
        const cell = make("p"), field = make("input", undefined, {id: `part-${key.key}-${name}`, type: "text", inputmode: "decimal", "data-name": name, autocomplete: "off"});
        cell.append(make("label", LABELS[name], {for: field.id}), field);
        field.addEventListener("change", () => {
          const text = field.value.trim().replace(",", ".");
          if (text === "") delete p[name]; else p[name] = Number.isFinite(Number(text)) ? Number(text) : text;
          commit();
        });
        typed.append(cell);
      }
      const cell = make("p", undefined, {class: "whole"}), source = make("input", undefined, {id: `part-${key.key}-source`, type: "text", maxlength: 300, "data-name": "source", autocomplete: "off"});
      cell.append(make("label", "where this comes from", {for: source.id}), source);
      source.addEventListener("change", () => { if (source.value.trim()) p.source = source.value.trim(); else delete p.source; commit(); });
      typed.append(cell);
      if (own) paint(); else source.value = p.source || "";
    };
    choose.addEventListener("change", () => { p = converted(p, choose.value); for (const name of Object.keys(p)) if (typeof p[name] === "number") p[name] = rounded(p[name]); build(); commit(); });
    build();
    return box;
  };
  return {editor};
})();

// Your figures: the money of every future made anew with what the reader types in. No library, no network.
"use strict";
(() => {
  const source = document.getElementById("own-data"), panel = document.getElementById("own");
  if (!source || !panel) return;
  const data = JSON.parse(source.textContent), years = data.horizon_years, draws = data.draws;
  const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0));
  const numbers = (text) => new Float32Array(bytes(text).buffer);
  // A vector is a number where all futures agree, a table is packed year after year.
  const vector = (given) => (typeof given === "number" ? () => given : ((held) => (d) => held[d])(new Float64Array(bytes(given).buffer)));
  const table = (given) => (given === null ? null : numbers(given));
  const drawn = Object.fromEntries(Object.entries(data.values).map(([key, given]) => [key, vector(given)]));
  const net = data.net_kwh.map(table), exported = table(data.export_kwh), blocks = table(data.block_saving);
  const noise = {main: table(data.noise.main), other: table(data.noise.other), export: table(data.noise.export)};
  const shock = table(data.inflation_shock), real = table(data.real_flows), renewal = table(data.renewal_flows);
  const working = bytes(data.working), handed = bytes(data.handed_year);
  const [bought, share, added, discount, resale, disposal, sale] =
    ["bought", "price_share", "added_price", "discount_share", "resale_share", "disposal", "sale_factor"].map((name) => vector(data[name]));
  const loan = data.loan && {share: vector(data.loan.financed_share), rate: vector(data.loan.rate), term: data.loan.term_years};
  const ratesOf = data.inputs.slice(0, data.rates).map((input) => input.key);

  // The money chain of one set of figures; `typed` maps a key to the number that holds in every future.
  const made = (typed, horizon) => {
    const value = (key) => (key in typed ? () => typed[key] : drawn[key]);
    const price = ratesOf.map(value), paid = value("tariff.export_price_per_kwh"), trend = value("prices.trend_per_year");
    const inflation = value("prices.inflation_per_year"), rate = value("prices.discount_rate_per_year");
    const kit = value("purchase.price"), fitting = value("purchase.installation");
    const upkeep = value("purchase.upkeep_per_year"), incentive = value("purchase.incentive");
    const payback = new Float64Array(draws), worth = new Float64Array(draws), saved = new Float64Array(draws), outlays = new Float64Array(draws);
    const balances = Array.from({length: horizon + 1}, () => new Float64Array(draws));
    const row = new Float64Array(horizon + 1), paying = new Float64Array(horizon + 1);
    for (let d = 0; d < draws; d++) {
      const whole = (kit(d) + added(d)) * (1 - discount(d)), cost = bought(d) * (whole + fitting(d)) * share(d);
      const granted = bought(d) * incentive(d), growth = data.trend_drawn ? 1 + trend(d) : 1;
      let last = 0;
      for (let y = 1; y <= horizon; y++) if (working[(y - 1) * draws + d]) last = y;
      const leaves = handed[d] > 0 && handed[d] < horizon ? handed[d] : 0;
      outlays[d] = cost;
      row[0] = granted - cost;
      paying.fill(0);
      if (loan) {
        const sum = loan.share(d) * Math.max(cost - granted, 0), r = loan.rate(d);
        const upv = (n) => (r === 0 ? n : -Math.expm1(-n * Math.log1p(r)) / r), payment = sum / upv(loan.term);
        paying[0] = sum;
        for (let y = 1; y <= Math.min(loan.term, horizon); y++) paying[y] = -payment;
        if (loan.term > horizon) paying[horizon] -= payment * upv(loan.term - horizon);
      }
      let level = 1, value_ = row[0] + paying[0];
      const once = 1 / (1 + rate(d));
      let factor = 1;
      for (let y = 1; y <= horizon; y++) {
        const at = (y - 1) * draws + d, grown = growth ** (y - 1);
        if (y > 1) level *= shock ? Math.max(1 + inflation(d) + shock[at], 0.5) : 1 + inflation(d);
        const main = noise.main[at] * grown, other = noise.other ? noise.other[at] * grown : main;
        let saving = 0;
        for (let k = 0; k < price.length; k++) saving += price[k](d) * (k === data.dearest ? main : other) * net[k][at];
        saving += paid(d) * (noise.export ? noise.export[at] * grown : main) * exported[at];
        if (blocks) saving += blocks[at] * main;
        if (y === 1) saved[d] = saving;
        let own = saving - upkeep(d) * working[at] * level;
        if (real) own += real[at] * level;
        if (y < horizon) own += renewal[at] * level;
        if (y === last && leaves !== y) own -= disposal(d) * level;
        row[y] = own;
        let all = own + paying[y];
        if (y === leaves) all += sale(d) * whole * share(d);
        if (y === horizon && working[at]) all += resale(d) * whole * share(d);
        factor *= once;
        value_ += all * factor;
      }
      worth[d] = value_;
      let sum = 0;
      for (let y = 0; y <= horizon; y++) { sum += row[y] + paying[y]; balances[y][d] = sum; }
      payback[d] = bought(d) ? crossing(d, balances, paying, horizon) : Infinity;
    }
    return {payback, worth, saved, outlays, balances, horizon};
  };
  // When the balance first reaches zero; while a loan runs it counts only from the last year below zero.
  const crossing = (d, balances, paying, horizon) => {
    let runs = 0, below = -1;
    for (let y = 0; y <= horizon; y++) if (paying[y] !== 0) runs = y;
    if (loan) for (let y = 0; y <= runs; y++) if (balances[y][d] < 0) below = y;
    const hold = below < 0 ? 0 : balances[below][d];
    const at = (y) => (y <= below ? Math.min(balances[y][d], hold) : balances[y][d]);
    for (let y = 0; y <= horizon; y++) {
      if (at(y) < 0) continue;
      return y === 0 ? 0 : y - 1 - at(y - 1) / (at(y) - at(y - 1));
    }
    return Infinity;
  };
  const quantile = (sorted, u) => {
    const place = u * (sorted.length - 1), k = Math.floor(place), t = place - k;
    return t === 0 ? sorted[k] : sorted[k + 1] === Infinity ? Infinity : sorted[k] + t * (sorted[k + 1] - sorted[k]);
  };
  const mean = (values) => values.reduce((a, b) => a + b, 0) / values.length;
  const figuresOf = (found) => {
    const sorted = Float64Array.from(found.worth).sort(), paid = Float64Array.from(found.payback).sort();
    const own = Array.from(found.payback).filter((_, d) => bought(d));
    return {
      odds: mean(Float64Array.from(own, (x) => (x <= found.horizon ? 1 : 0))),
      payback: [0.05, 0.25, 0.5, 0.75, 0.95].map((u) => quantile(Float64Array.from(own).sort(), u)),
      worth: {mean: mean(found.worth), loss: mean(found.worth.map((x) => (x < 0 ? 1 : 0))), p5: quantile(sorted, 0.05), p50: quantile(sorted, 0.5), p95: quantile(sorted, 0.95)},
      saving: mean(found.saved), outlay: mean(Float64Array.from(Array.from(found.outlays).filter((_, d) => bought(d)))),
      within: Array.from({length: found.horizon}, (_, y) => own.filter((x) => x <= y + 1).length / own.length),
      bands: found.balances.map((held) => { const s = Float64Array.from(held).sort(); return [0.05, 0.25, 0.5, 0.75, 0.95].map((u) => quantile(s, u)); }),
    };
  };

  const format = (x) => Math.abs(x).toLocaleString(document.documentElement.lang || "en", {maximumFractionDigits: Math.abs(x) < 20 ? 2 : 0});
  const money = (x) => (x < 0 ? "\u2212" : "") + data.money.replace("{digits}", format(x));
  const percent = (p) => `${Math.round(100 * p)}\u202f%`;
  const yearsText = (x) => (x === Infinity ? data.words.not_within : `${x.toLocaleString(document.documentElement.lang, {minimumFractionDigits: 1, maximumFractionDigits: 1})}\u00a0${data.words.years}`);
  const part = (name) => panel.querySelector(`[data-own=${name}]`);
  const svg = (name, settings, text) => {
    const node = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(settings)) node.setAttribute(key, value);
    if (text !== undefined) node.textContent = text;
    return node;
  };
  const drawOdds = (figures, before) => {
    const box = part("odds-chart"), wide = 600 / figures.within.length;
    box.replaceChildren(svg("text", {x: 0, y: 11}, "100 %"));
    figures.within.forEach((value, y) => {
      box.append(svg("rect", {x: (y * wide + 2).toFixed(1), y: (150 - 134 * value).toFixed(1), width: (wide - 4).toFixed(1), height: (134 * value).toFixed(1), class: "paid"}));
      if (before.within[y] !== undefined) box.append(svg("path", {d: `M${y * wide},${(150 - 134 * before.within[y]).toFixed(1)}h${wide.toFixed(1)}`, class: "outline"}));
      if (figures.within.length <= 20 || y % 5 === 4) box.append(svg("text", {x: ((y + 0.5) * wide).toFixed(1), y: 165, "text-anchor": "middle"}, String(y + 1)));
    });
  };
  const drawCash = (figures) => {
    const box = part("cash-chart"), all = figures.bands.flat(), low = Math.min(0, ...all), high = Math.max(0, ...all);
    const up = (x) => (8 + 140 * (high - x) / (high - low || 1)).toFixed(1), along = (y) => (50 + 545 * y / (figures.bands.length - 1)).toFixed(1);
    const band = (a, b, name) => {
      const there = figures.bands.map((row, y) => `${along(y)},${up(row[a])}`), back = figures.bands.map((row, y) => `${along(y)},${up(row[b])}`).reverse();
      box.append(svg("path", {d: `M${[...there, ...back].join("L")}Z`, class: name}));
    };
    box.replaceChildren();
    band(0, 4, "wide-band");
    band(1, 3, "band");
    box.append(svg("path", {d: `M${figures.bands.map((row, y) => `${along(y)},${up(row[2])}`).join("L")}`, class: "middle"}),
      svg("path", {d: `M50,${up(0)}H595`, class: "zero"}), svg("text", {x: 0, y: Number(up(0)) + 4}, "0"),
      svg("text", {x: 0, y: 12}, money(high)), svg("text", {x: 0, y: 150}, money(low)), svg("text", {x: 595, y: 165, "text-anchor": "end"}, String(figures.bands.length - 1)));
  };

  const fields = [...panel.querySelectorAll("input[data-key]")];
  const published = figuresOf(made({}, years));
  const read = () => {
    const typed = {};
    let horizon = years;
    for (const field of fields) {
      const text = field.value.trim().replace(",", "."), number = Number(text), scale = Number(field.dataset.scale);
      const wrong = text !== "" && (!Number.isFinite(number) || number / scale < Number(field.dataset.low) || number / scale > Number(field.dataset.high)
        || (field.dataset.key === "study.horizon_years" && !Number.isInteger(number)));
      field.toggleAttribute("aria-invalid", wrong);
      const told = document.getElementById(`${field.id}-wrong`);
      told.textContent = wrong ? `${data.words.accepted} ${Number(field.dataset.low) * scale} – ${Number(field.dataset.high) * scale}` : "";
      if (text === "" || wrong) continue;
      if (field.dataset.key === "study.horizon_years") horizon = number;
      else typed[field.dataset.key] = number / scale;
    }
    return {typed, horizon};
  };
  const update = () => {
    const {typed, horizon} = read(), found = made(typed, horizon), figures = figuresOf(found);
    const any = Object.keys(typed).length > 0 || horizon !== years;
    panel.dataset.figures = JSON.stringify({...figures, payback: figures.payback.map((x) => (x === Infinity ? null : x))});
    const said = {odds: percent(figures.odds), half: yearsText(figures.payback[2]), saving: money(figures.saving), outlay: money(figures.outlay),
      middle: money(figures.worth.p50), bad: money(figures.worth.p5), loss: percent(figures.worth.loss)};
    for (const [name, text] of Object.entries(said)) part(name).textContent = text;
    const sentence = data.words.sentence.replace("{share}", String(Math.round(100 * figures.odds))).replace("{years}", String(horizon));
    part("sentence").textContent = sentence;
    for (const node of document.querySelectorAll("[data-own-answer]")) {
      node.hidden = !any;
      node.textContent = `${data.words.with_yours} ${sentence} ${data.words.worth.replace("{middle}", said.middle).replace("{bad}", said.bad)}`;
    }
    drawOdds(figures, published);
    drawCash(figures);
    if (any || panel.dataset.typed) document.dispatchEvent(new CustomEvent("own-figures", {detail: any ? {payback: found.payback, worth: found.worth} : null}));
    panel.dataset.typed = any ? "yes" : "";
    const kept = fields.filter((field) => field.value.trim() !== "").map((field) => `${encodeURIComponent(field.dataset.key)}=${encodeURIComponent(field.value.trim())}`).join("&");
    if (any || location.hash.startsWith("#own:")) history.replaceState(null, "", any ? `#own:${kept}` : location.pathname + location.search);
  };
  for (const field of fields) field.addEventListener("input", update);
  part("reset").addEventListener("click", () => { for (const field of fields) field.value = ""; update(); });
  if (location.hash.startsWith("#own:")) {
    for (const pair of location.hash.slice(5).split("&")) {
      const [key, text] = pair.split("=").map(decodeURIComponent), field = fields.find((one) => one.dataset.key === key);
      if (field && text) field.value = text.slice(0, 20);
    }
    panel.scrollIntoView();
  }
  panel.hidden = false;
  update();
})();

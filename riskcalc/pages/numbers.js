// What the live parts of a page share: arrays unpacked, figures with their errors, numbers as text by the page's rule.
"use strict";
const riskcalcPage = (() => {
  // A packed array is "f4:" or "u1:" and the bytes of its numbers, all first bytes first, deflated, in base64.
  const unpack = async (text) => {
    const packed = Uint8Array.from(atob(text.slice(3)), (c) => c.charCodeAt(0));
    const stream = new Blob([packed]).stream().pipeThrough(new DecompressionStream("deflate"));
    const planes = new Uint8Array(await new Response(stream).arrayBuffer());
    if (text.startsWith("u1")) return planes;
    const bytes = new Uint8Array(planes.length), n = planes.length / 4;
    for (let part = 0; part < 4; part++) for (let i = 0; i < n; i++) bytes[4 * i + part] = planes[part * n + i];
    return new Float32Array(bytes.buffer);
  };

  // A message with its named parts filled in; behind a colon stands the case of a unit of time, which German bends.
  const bent = (text, form) => (form === "dative" ? String(text).replace(/\b(Jahr|Monat|Tag)e\b/g, "$1en") : text);
  const filled = (message, parts) =>
    message.replace(/\{(\w+)(?::(\w+))?\}/g, (whole, name, form) => (name in parts ? bent(parts[name], form) : whole));
  const language = document.documentElement.lang || "en";
  const decade = (x) => Math.floor(Math.log10(x));
  // Decimals that a standard error supports: all for an error of 0, two significant digits where it is not known.
  const places = (se, most, x) => {
    if (se > 0) return Math.min(-decade(Number(se.toPrecision(1))), most);
    return Number.isNaN(se) && x ? Math.min(1 - decade(Math.abs(x)), most) : most;
  };
  // Half goes to the even neighbour, as in Python.
  const whole = (x) => (x % 1 === 0.5 ? 2 * Math.round(x / 2) : Math.round(x));
  const group = (x, digits) => {
    const step = 10 ** Math.max(-digits, 0), decimals = Math.max(digits, 0);
    const shown = (digits > 0 ? Math.abs(x) : whole(Math.abs(x) / step) * step)
      .toLocaleString(language, {minimumFractionDigits: decimals, maximumFractionDigits: decimals});
    return (x < 0 && /[1-9]/.test(shown) ? "\u2212" : "") + shown;
  };
  const money = (x, se, form) => {
    const whole = Number.isNaN(se) && Math.abs(x) >= 1 && Math.abs(x) < 10, most = whole || Math.abs(x) >= 20 || x === 0 ? 0 : 2;
    const text = group(x, places(whole ? 0 : se, most, x));
    const minus = text[0] === "\u2212" ? "\u2212\u2060" : "";
    return minus + filled(form, {digits: minus ? text.slice(1) : text});
  };
  const percent = (p, se = 0) => {
    const text = group(100 * p, places(100 * se, Math.min(p, 1 - p) < 0.01 ? 1 : 0, 100 * p));
    const end = {0: p > 0 ? "<1" : "0", 100: p < 1 ? ">99" : "100"}[Number(text.replace(",", "."))];
    return (end || text) + "\u202f%";
  };

  // Quantiles and errors as `uncertainty.summary` has them; a draw is (value, scramble), scrambles are equally long.
  const quantile = (sorted, u) => {
    const at = Math.max(0, u) * (sorted.length - 1), k = Math.floor(at), t = at - k;
    if (t === 0) return sorted[k];
    return sorted[k + 1] === Infinity ? Infinity : sorted[k] + t * (sorted[k + 1] - sorted[k]);
  };
  const mean = (values) => { let sum = 0; for (const x of values) sum += x; return sum / values.length; };
  // Values that are NaN do not count; the error leaves out one scramble at a time.
  const meanWithError = (values, scrambles) => {
    const each = values.length / scrambles, sums = new Float64Array(scrambles), counts = new Float64Array(scrambles);
    values.forEach((x, d) => { if (!Number.isNaN(x)) { sums[Math.floor(d / each)] += x; counts[Math.floor(d / each)] += 1; } });
    const sum = sums.reduce((a, b) => a + b, 0), count = counts.reduce((a, b) => a + b, 0);
    const left = Array.from(sums, (part, r) => (sum - part) / (count - counts[r])), middle = mean(left);
    const spread = left.reduce((a, b) => a + (b - middle) ** 2, 0);
    return {value: sum / count, se: scrambles > 1 ? Math.sqrt((scrambles - 1) / scrambles * spread) : NaN};
  };
  // The error of a share of draws that are 1: `uncertainty.summary.share_error`, which says why it is never 0.
  const shareError = (ones, scrambles) => {
    const each = ones.length / scrambles, shares = [];
    let counted = 0;
    for (let r = 0; r < scrambles; r++) {
      const part = ones.slice(r * each, (r + 1) * each).filter((x) => !Number.isNaN(x));
      counted += part.length / scrambles;
      if (part.length) shares.push(mean(part));
    }
    const n = shares.length, middle = mean(shares), spread = shares.reduce((a, b) => a + (b - middle) ** 2, 0) / (n - 1);
    return n < 2 ? NaN : Math.sqrt(Math.max(spread, 1 / Math.max(1, counted) ** 2 / 6) / n);
  };
  const shareWithError = (ones, scrambles) => {
    const value = mean(ones.filter((x) => !Number.isNaN(x)));
    return {value, se: value === 0 || value === 1 ? 0 : shareError(ones, scrambles)};
  };
  const quantileWithError = (values, scrambles, u) => {
    const known = values.filter((x) => !Number.isNaN(x)), sorted = Float64Array.from(known).sort(), value = quantile(sorted, u);
    let highest = -Infinity;
    for (const x of known) if (x !== Infinity && x > highest) highest = x;
    const at = Math.min(value, highest);
    const error = shareError(Float64Array.from(values, (x) => (Number.isNaN(x) ? NaN : x <= at ? 1 : 0)), scrambles);
    if (value === Infinity || Number.isNaN(error)) return {value, se: NaN};
    const low = quantile(sorted, Math.max(0, u - error)), high = quantile(sorted, Math.min(1, u + error));
    return {value, se: high === Infinity ? NaN : (high - low) / 2};
  };

  const drawn = (name, settings, text) => {
    const node = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(settings)) node.setAttribute(key, value);
    if (text !== undefined) node.textContent = text;
    return node;
  };
  return {unpack, decade, places, group, money, percent, quantile, mean, meanWithError, shareWithError, quantileWithError, drawn, filled};
})();

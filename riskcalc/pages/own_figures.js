// Your figures: the money of every future made anew with what the reader types in. No library, no network.
"use strict";
(async () => {
  const panels = [...document.querySelectorAll(".own")];
  if (!panels.length || !window.DecompressionStream) return;
  const {unpack, quantile, mean, meanWithError, shareWithError, quantileWithError, drawn, filled, group, percent} = riskcalcPage;
  const HORIZON = "study.horizon_years";

  // Arrays travel once and are named by their place; one number stands for a vector whose futures all agree.
  const loaded = async (panel) => {
    const data = JSON.parse(panel.querySelector(".own-data").textContent), arrays = await Promise.all(data.arrays.map(unpack));
    const table = (given) => (given === null ? null : arrays[given.at]);
    const vector = (given) => (given === null ? null : typeof given === "number" ? () => given : ((held) => (d) => held[d])(arrays[given.at]));
    data.options = data.options.map((option) => ({
      ...option,
      values: Object.fromEntries(Object.entries(option.values).map(([key, given]) => [key, vector(given)])),
      savings_rate: vector(option.savings_rate),
      noise: Object.fromEntries(Object.entries(option.noise).map(([key, given]) => [key, table(given)])),
      net_kwh: option.net_kwh.map(table),
      ...Object.fromEntries(["export_kwh", "block_saving", "inflation_shock", "real_flows", "renewal_flows", "working", "handed_year", "stay_years"].map((name) => [name, table(option[name])])),
      ...Object.fromEntries(["bought", "price_share", "added_price", "sale_factor"].map((name) => [name, vector(option[name])])),
      loan: option.loan && {share: vector(option.loan.financed_share), rate: vector(option.loan.rate), term: option.loan.term_years},
      claims: option.claims.map((claim) => ({...claim, bill: claim.bill && {...claim.bill, demand_kwh: claim.bill.demand_kwh.map(vector),
        net_kwh: claim.bill.net_kwh.map(vector), exported_kwh: vector(claim.bill.exported_kwh), block_charge: vector(claim.bill.block_charge)}})),
    }));
    return data;
  };

  // The money chain of one option; `typed` maps a key to the number that holds in every future.
  const made = (data, option, typed, horizon) => {
    const {draws} = data, {noise, loan} = option, value = (key) => (key in typed ? () => typed[key] : option.values[key]);
    const price = data.rates.map((rate) => value(rate.key)), paid = value("tariff.export_price_per_kwh");
    const means = data.rates.map((rate) => (rate.key in typed ? typed[rate.key] : rate.mean)), dearest = means.indexOf(Math.max(...means));
    const trend = value("prices.trend_per_year"), inflation = value("prices.inflation_per_year"), rate = value("prices.discount_rate_per_year");
    const kit = value("purchase.price"), fitting = value("purchase.installation"), upkeep = value("purchase.upkeep_per_year");
    const incentive = value("purchase.incentive"), discount = value("purchase.discount_share");
    const resale = value("purchase.resale_share"), disposal = value("purchase.disposal_cost");
    const found = {horizon, bought: new Uint8Array(draws)};
    for (const name of ["payback", "lasting", "later", "worth", "outlay", "spent"]) found[name] = new Float64Array(draws);
    found.savings = Array.from({length: horizon}, () => new Float64Array(draws));
    found.balances = Array.from({length: horizon + 1}, () => new Float64Array(draws));
    const own = new Float64Array(horizon + 1), paying = new Float64Array(horizon + 1);
    const balance = new Float64Array(horizon + 1), discounted = new Float64Array(horizon + 1);
    for (let d = 0; d < draws; d++) {
      const whole = (kit(d) + option.added_price(d)) * (1 - discount(d)), share = option.price_share(d), buys = option.bought(d);
      const cost = buys * (whole + fitting(d)) * share, granted = buys * incentive(d), growth = option.trend_drawn ? 1 + trend(d) : 1;
      const leaves = option.handed_year[d] > 0 && option.handed_year[d] < horizon ? option.handed_year[d] : 0;
      let last = 0;
      for (let y = 1; y <= horizon; y++) if (option.working[(y - 1) * draws + d]) last = y;
      own[0] = granted - cost;
      paying.fill(0);
      if (loan) {
        const sum = loan.share(d) * Math.max(cost - granted, 0), r = loan.rate(d);
        const upv = (n) => (r === 0 ? n : -Math.expm1(-n * Math.log1p(r)) / r), payment = sum / upv(loan.term);
        paying[0] = sum;
        for (let y = 1; y <= Math.min(loan.term, horizon); y++) paying[y] = -payment;
        if (loan.term > horizon) paying[horizon] -= payment * upv(loan.term - horizon);
      }
      const once = 1 / (1 + rate(d));
      let level = 1, factor = 1, worth = own[0] + paying[0], grown = 1;
      balance[0] = discounted[0] = worth;
      for (let y = 1; y <= horizon; y++) {
        const at = (y - 1) * draws + d;
        if (y > 1) { level *= Math.max(1 + inflation(d) + (option.inflation_shock ? option.inflation_shock[at] : 0), 0.5); grown *= growth; }
        const main = noise.main[at] * grown, other = noise.other ? noise.other[at] * grown : main;
        let saving = 0;
        for (let k = 0; k < price.length; k++) saving += price[k](d) * (k === dearest ? main : other) * option.net_kwh[k][at];
        saving += paid(d) * (noise.export ? noise.export[at] * grown : main) * option.export_kwh[at];
        if (option.block_saving) saving += option.block_saving[at] * main;
        found.savings[y - 1][d] = saving;
        own[y] = saving - upkeep(d) * option.working[at] * level;
        if (option.real_flows) own[y] += option.real_flows[at] * level;
        if (y < horizon) own[y] += option.renewal_flows[at] * level;
        if (y === last && leaves !== y) own[y] -= disposal(d) * level;
        let all = own[y] + paying[y];
        factor *= once;
        balance[y] = balance[y - 1] + all;
        discounted[y] = discounted[y - 1] + all * factor;
        if (y === leaves) all += option.sale_factor(d) * whole * share;
        if (y === horizon && option.working[at]) all += resale(d) * whole * share;
        worth += all * factor;
      }
      found.worth[d] = worth;
      found.outlay[d] = cost;
      found.spent[d] = Math.max(-balance[0], 0);
      found.bought[d] = buys;
      for (let y = 0; y <= horizon; y++) found.balances[y][d] = balance[y];
      let runs = -1;
      for (let y = 0; y <= horizon; y++) if (paying[y] !== 0) runs = y;
      found.payback[d] = buys ? crossing(balance, runs) : Infinity;
      found.later[d] = buys ? crossing(discounted, runs) : Infinity;
      found.lasting[d] = buys ? lasting(balance) : Infinity;
    }
    return found;
  };
  // When the balance first reaches zero; while a loan runs (to the year `runs`) it counts only from its last year below zero.
  const crossing = (balance, runs) => {
    let below = -1;
    for (let y = 0; y <= runs; y++) if (balance[y] < 0) below = y;
    const hold = below < 0 ? 0 : balance[below], at = (y) => (y <= below ? Math.min(balance[y], hold) : balance[y]);
    for (let y = 0; y < balance.length; y++) if (at(y) >= 0) return y === 0 ? 0 : y - 1 - at(y - 1) / (at(y) - at(y - 1));
    return Infinity;
  };
  const lasting = (balance) => {
    let y = balance.length - 1;
    while (y >= 0 && balance[y] >= 0) y -= 1;
    if (y < 0) return 0;
    return y === balance.length - 1 ? Infinity : y - balance[y] / (balance[y + 1] - balance[y]);
  };

  const LEVELS = [0.05, 0.25, 0.5, 0.75, 0.95];
  const figuresOf = (data, found) => {
    const R = data.scrambles, bought = (values) => Float64Array.from(values, (x, d) => (found.bought[d] ? x : NaN));
    const own = bought(found.payback), kept = own.filter((x) => !Number.isNaN(x)), sorted = Float64Array.from(kept).sort();
    const worth = Float64Array.from(found.worth).sort(), first = bought(found.savings[0]).filter((x) => !Number.isNaN(x)).sort();
    const saved = meanWithError(found.savings[0], R);
    const shareOf = (values, test) => meanWithError(values.map((x) => (Number.isNaN(x) ? NaN : test(x) ? 1 : 0)), R);
    const headline = Math.min(found.horizon, data.headline_years), stay = data.options[0].stay_years;
    // Where the headline is about the stay, what pays back after it counts as not paid back.
    const inStay = stay && data.options.length === 1 ? own.map((x, d) => (x > stay[d] ? Infinity : x)) : own, keptInStay = inStay.filter((x) => !Number.isNaN(x));
    return {
      horizon: found.horizon, headline, odds: kept.filter((x) => x <= found.horizon).length / kept.length,
      paid: shareOf(inStay, (x) => x <= headline), never: shareOf(own, (x) => x > found.horizon), boughtShare: mean(found.bought),
      payback: LEVELS.map((u) => quantile(sorted, u)), paybackHalf: quantileWithError(own, R, 0.5), paybackBad: quantileWithError(own, R, 0.95),
      worth: {mean: mean(worth), loss: worth.filter((x) => x < 0).length / worth.length, quantiles: LEVELS.map((u) => quantile(worth, u)), constant: worth[0] === worth[worth.length - 1]},
      quarters: [0.25, 0.75].map((u) => quantileWithError(own, R, u).se), worthMean: meanWithError(found.worth, R), worthHalf: quantileWithError(found.worth, R, 0.5), worthBad: quantileWithError(found.worth, R, 0.05),
      worthLow: quantileWithError(found.worth, R, 0.05), worthHigh: quantileWithError(found.worth, R, 0.95), lost: shareOf(found.worth, (x) => x < 0), gained: shareOf(found.worth, (x) => x > 0),
      outlay: {value: mean(found.outlay) / mean(found.bought), se: meanWithError(found.outlay, R).se},
      saving: saved, savingOfBuyers: {value: saved.value / (mean(found.bought) || 1), se: saved.se}, savingEnds: [quantile(first, 0.1), quantile(first, 0.9)],
      within: Array.from({length: found.horizon}, (_, y) => kept.filter((x) => x <= y + 1).length / kept.length),
      withinHeadline: Array.from({length: headline}, (_, y) => keptInStay.filter((x) => x <= y + 1).length / keptInStay.length),
      bands: found.balances.map((held) => { const s = Float64Array.from(held).sort(); return LEVELS.map((u) => quantile(s, u)); }),
    };
  };
  // A claim about money: the futures that count, what it measures in each, and the share in which it is true.
  const claimOf = (data, option, found, typed, claim) => {
    const value = (key) => (key in typed ? () => typed[key] : option.values[key]), bill = claim.bill;
    let measured = {payback_years: found.payback, lasting_payback_years: found.lasting, discounted_payback_years: found.later, net_present_value: found.worth}[claim.measure];
    if (claim.measure === "saving_per_year") measured = found.worth.map((_, d) => { let sum = 0; for (let y = 0; y < claim.years; y++) sum += found.savings[y][d]; return sum / claim.years; });
    if (bill) {
      const price = data.rates.map((rate) => value(rate.key)), paid = value("tariff.export_price_per_kwh"), standing = value("tariff.standing_charge_per_day");
      measured = found.worth.map((_, d) => {
        let without = bill.days * standing(d) + (bill.block_charge ? bill.block_charge(d) : 0), saving = paid(d) * bill.exported_kwh(d);
        price.forEach((each, k) => { without += each(d) * bill.demand_kwh[k](d); saving += each(d) * bill.net_kwh[k](d); });
        if (bill.whole_year) saving = found.savings[0][d];
        return {bill_cut_share: without > 0 ? saving / without : 0, saving, bill_without: without, bill_with: without - saving}[claim.measure];
      });
    }
    const ofBought = /payback_years$/.test(claim.measure), sign = claim.at_least === null ? -1 : 1;
    const limit = claim.at_least === null ? claim.at_most : claim.at_least, room = 1e-9 * Math.max(1, Math.abs(limit));
    const counts = Float64Array.from(measured, (x, d) => (ofBought && !found.bought[d] ? NaN : x));
    const known = counts.filter((x) => !Number.isNaN(x)).sort(), at = (u) => known[Math.max(0, Math.ceil(u * known.length - 1e-9) - 1)];
    return {share: shareWithError(counts.map((x) => (Number.isNaN(x) ? NaN : sign * (x - limit) >= -room ? 1 : 0)), data.scrambles), points: [0.1, 0.5, 0.9].map(at)};
  };

  const setUp = (panel, data) => {
    const words = data.words, single = data.options.length === 1, leads = panel.dataset.leads === "yes";
    const part = (name) => panel.querySelector(`[data-own=${name}]`), fields = [...panel.querySelectorAll("input[data-key]")];
    const money = (x, se = 0) => riskcalcPage.money(x, se, data.money);
    const years = (figure, horizon) => {
      if (figure.value === Infinity) return notWithin(horizon);
      const text = group(figure.value, riskcalcPage.places(figure.se, 1, figure.value));
      return filled(text === "1" ? words.year : words.years, {years: text});
    };
    const wholeYears = (n) => filled(n === 1 ? words.year : words.years, {years: n});
    const notWithin = (n) => filled(words.not_within, {years: wholeYears(n)});
    const read = () => {
      const typed = data.options.map(() => ({}));
      let horizon = data.horizon_years, any = false;
      for (const field of fields) {
        const text = field.value.trim().replace(",", "."), number = Number(text), {key, scale, low, high} = field.dataset;
        const wrong = text !== "" && (!Number.isFinite(number) || number / scale < Number(low) || number / scale > Number(high) || (key === HORIZON && !Number.isInteger(number)));
        if (wrong) field.setAttribute("aria-invalid", "true"); else field.removeAttribute("aria-invalid");
        panel.querySelector(`[id="${field.id}-wrong"]`).textContent = wrong ? filled(words.accepted, {low: riskcalcPage.group(low * scale, 2).replace(/[.,]00$/, ""), high: riskcalcPage.group(high * scale, 2).replace(/[.,]00$/, "")}) : "";
        if (text === "" || wrong) continue;
        any = true;
        if (key === HORIZON) horizon = number;
        else for (const [place, own] of typed.entries()) if (field.dataset.option === "" || Number(field.dataset.option) === place) own[key] = number / scale;
      }
      return {typed, horizon, any};
    };
    const row = (cells, head) => {
      const line = document.createElement("tr");
      cells.forEach((text, i) => { const cell = document.createElement(head || i === 0 ? "th" : "td"); cell.textContent = text; if (head || i === 0) cell.scope = head ? "col" : "row"; line.append(cell); });
      return line;
    };

    // The first screen and the drawings of the page, in the words of the page.
    const shareWords = (figure) => (figure.value > 0 && figure.value < 1 ? filled(words.of_futures, {share: percent(figure.value, figure.se)}) : filled(figure.value > 0 ? words.all : words.zero, {draws: group(data.draws, 0)}));
    const kindOf = (f) => {
      const paid = f.paid.value, gains = 1 - f.lost.value, low = Math.min(paid, gains), high = Math.max(paid, gains), {likely, sure} = words;
      if (low >= likely) return low >= sure ? "yes" : "probably";
      if (high <= 1 - likely) return high <= 1 - sure ? "no" : "probably not";
      const even = (x) => x > 1 - likely && x < likely;
      return even(paid) && even(gains) ? "toss-up" : paid <= gains ? "toss_up_after" : gains <= 1 - likely ? "rather_not" : "toss_up_later";
    };
    const verdict = (f) => {
      if (f.worth.constant) return f.paid.value ? filled(words.verdicts.certain_yes, {years: years(f.paybackHalf, f.headline)}) : filled(words.verdicts.certain_no, {years: wholeYears(f.headline)});
      return filled(words.verdicts[kindOf(f)], {years: wholeYears(f.headline), gain: shareWords(f.gained)});
    };
    const reasons = (f) => {
      const [paid, count] = words.later ? [{value: f.odds, se: f.never.se}, f.horizon] : [f.paid, f.headline];
      const pays = filled(words.pays, {paid: shareWords(paid), years: wholeYears(count)}), harder = paid.value > f.gained.value ? words.harder : null;
      return [...(f.worth.constant ? [] : [pays, harder]), words.falls_short].filter(Boolean).join(" ");
    };
    const gain = (figure) => filled(figure.value < 0 ? words.lost : words.gained, {amount: money(Math.abs(figure.value), figure.se || 0)});
    const rowsOf = (f) => {
      const [low, high] = f.savingEnds, spread = low === high ? words.same : filled(words.ends, {low: money(low, NaN), high: money(high, NaN)});
      const over = (kind) => filled(words.against[kind], {years: wholeYears(f.horizon)});
      const rows = [[money(f.outlay.value, f.outlay.se || 0), null], [money(f.savingOfBuyers.value, f.savingOfBuyers.se || 0), spread], f.worth.constant ? [gain(f.worthMean), over("all")] : [gain(f.worthHalf), over("half"), filled(words.middle, {years: wholeYears(f.horizon)})]];
      return f.worth.constant ? rows : [...rows, [gain(f.worthBad), null]];
    };
    const kept = new Map();
    const swap = (node, text) => {
      if (!node || (text === null && !kept.has(node))) return;
      if (!kept.has(node)) kept.set(node, [...node.childNodes]);
      if (text === null) node.replaceChildren(...kept.get(node)); else node.textContent = text;
    };
    const redraw = (key, title, draw) => {
      const head = document.getElementById(`${key}-chart`), figure = head && head.closest("figure");
      if (!figure) return;
      // The dots keep what tells them apart; other drawings have no legend of their own.
      for (const name of [".plot", ".beside", ".reading", ...(key === "futures" ? [] : [".legend"])]) for (const node of figure.querySelectorAll(name)) node.hidden = title !== null;
      swap(head, title);
      let own = figure.querySelector(".own-plot");
      if (!own) { own = document.createElement("div"); own.className = "own-plot"; own.setAttribute("role", "img"); figure.querySelector(".plot").after(own); }
      own.hidden = title === null;
      if (title !== null) { own.setAttribute("aria-label", title); own.replaceChildren(draw()); }
    };
    const canvas = (wide, high) => drawn("svg", {viewBox: `0 0 ${wide} ${high}`, class: "histogram", "aria-hidden": "true"});
    const dots = (within) => {
      const sum = (all) => all.reduce((a, b) => a + b, 0);
      const quota = within.map((x, y, all) => 100 * (x - (y ? all[y - 1] : 0))), whole = quota.map((x) => Math.floor(x + 1e-9)), paid = Math.floor(sum(quota) + 0.5);
      const order = quota.map((x, y) => y).sort((a, b) => (quota[b] - whole[b]) - (quota[a] - whole[a]) || a - b);
      for (let left = paid - sum(whole), k = 0; k < left; k++) whole[order[k]] += 1;
      return [...whole, 100 - paid];
    };
    const dotsDrawn = (counts, early) => {
      const years_ = counts.length - 1, wide = 400, pile = 110, column = (wide - pile) / years_, across = Math.max(1, Math.min(4, Math.ceil(Math.max(...counts.slice(0, -1)) / 16)));
      const cell = Math.min(column / across, 18), beside = Math.max(3, Math.floor(pile / cell)), tall = Math.max(...counts.map((n, y) => Math.ceil(n / (y === years_ ? beside : across))), 5), high = tall * cell + 24, svg = canvas(wide, high);
      svg.classList.add("own-dots");
      counts.forEach((n, y) => {
        const last = y === years_, room = last ? beside : across, left = last ? wide - beside * cell : y * column + (column - across * cell) / 2;
        for (let k = 0; k < n; k++) svg.append(drawn("circle", {cx: (left + (k % room + 0.5) * cell).toFixed(1), cy: (high - 24 - (Math.floor(k / room) + 0.5) * cell).toFixed(1), r: (0.42 * cell).toFixed(1), class: last ? "never" : k < early[y] ? "paid" : "later"}));
        const step = [1, 2, 5, 10].find((s) => s * column >= 24) || 20;
        if (!last && (y + 1) % step === 0) svg.append(drawn("text", {x: ((y + 0.5) * column).toFixed(1), y: high - 6, "text-anchor": "middle"}, String(y + 1)));
      });
      svg.append(drawn("text", {x: wide, y: high - 6, "text-anchor": "end"}, words.do_not));
      return svg;
    };
    const oddsDrawn = (f) => {
      const svg = canvas(600, 190), wide = 550 / f.within.length;
      svg.append(drawn("text", {x: 0, y: 16}, "100 %"), drawn("text", {x: 0, y: 168}, "0"));
      f.within.forEach((value, y) => {
        svg.append(drawn("rect", {x: (50 + y * wide + 1).toFixed(1), y: (168 - 154 * value).toFixed(1), width: (wide - 2).toFixed(1), height: (154 * value).toFixed(1), class: "paid"}));
        if (published && published.within[y] !== undefined) svg.append(drawn("path", {d: `M${50 + y * wide},${(168 - 154 * published.within[y]).toFixed(1)}h${wide.toFixed(1)}`, class: "outline"}));
        if (f.within.length <= 20 || y % 5 === 4) svg.append(drawn("text", {x: (50 + (y + 0.5) * wide).toFixed(1), y: 185, "text-anchor": "middle"}, String(y + 1)));
      });
      return svg;
    };
    const cashDrawn = (f) => {
      const svg = canvas(600, 190), all = f.bands.flat(), low = Math.min(0, ...all), high = Math.max(0, ...all);
      const up = (x) => (12 + 150 * (high - x) / (high - low || 1)).toFixed(1), along = (y) => (70 + 520 * y / (f.bands.length - 1)).toFixed(1);
      const band = (a, b, name) => {
        const there = f.bands.map((held, y) => `${along(y)},${up(held[a])}`), back = f.bands.map((held, y) => `${along(y)},${up(held[b])}`).reverse();
        svg.append(drawn("path", {d: `M${[...there, ...back].join("L")}Z`, class: name}));
      };
      band(0, 4, "wide-band");
      band(1, 3, "band");
      svg.append(drawn("path", {d: `M${f.bands.map((held, y) => `${along(y)},${up(held[2])}`).join("L")}`, class: "middle"}), drawn("path", {d: `M70,${up(0)}H590`, class: "zero"}));
      const near = (x) => Math.abs(Number(up(x)) - Number(up(0))) < 16;
      svg.append(drawn("text", {x: 62, y: Number(up(0)) + 4, "text-anchor": "end"}, "0"));
      if (!near(high)) svg.append(drawn("text", {x: 62, y: 16, "text-anchor": "end"}, money(high, NaN)));
      if (!near(low)) svg.append(drawn("text", {x: 62, y: 164, "text-anchor": "end"}, money(low, NaN)));
      for (let y = 0, step = f.bands.length > 21 ? 5 : f.bands.length > 11 ? 2 : 1; y < f.bands.length; y += step) svg.append(drawn("text", {x: along(y), y: 185, "text-anchor": "middle"}, String(y)));
      return svg;
    };
    const worthDrawn = (found) => {
      const svg = canvas(600, 190), sorted = Float64Array.from(found.worth).sort(), from = quantile(sorted, 0.005), to = quantile(sorted, 0.995), BARS = 40, bars = new Array(BARS).fill(0);
      const span = to - from || 1, up = (x) => 10 + 580 * (x - from) / span;
      for (const x of sorted) bars[Math.min(BARS - 1, Math.max(0, Math.floor((x - from) / span * BARS)))] += 1;
      const top = Math.max(...bars);
      bars.forEach((n, k) => svg.append(drawn("rect", {x: (10 + k * 14.5 + 0.5).toFixed(1), y: (168 - 154 * n / top).toFixed(1), width: 13.5, height: (154 * n / top).toFixed(1), class: from + (k + 0.5) / BARS * span < 0 ? "never" : "paid"})));
      const rough = 10 ** Math.floor(Math.log10(span / 3)), step = [1, 2, 5, 10].map((k) => k * rough).find((k) => span / k <= 6);
      for (let x = Math.ceil(from / step) * step; x <= to; x += step) svg.append(drawn("text", {x: up(x).toFixed(1), y: 185, "text-anchor": "middle"}, money(x)));
      return svg;
    };

    const follow = (found, f, any) => {
      const hero = document.querySelector(".hero");
      if (hero) {
        swap(hero.querySelector(".opening"), any ? verdict(f) : null);
        swap(hero.querySelector("[data-brief]"), any ? reasons(f) : null);
        const shown = rowsOf(f);
        [...hero.querySelectorAll(".figures > div")].forEach((box, k) => {
          swap(box.querySelector("b"), any && shown[k] ? shown[k][0] : null);
          if (shown[k] && shown[k][1]) swap(box.querySelector("span"), any ? shown[k][1] : null);
          if (shown[k] && shown[k][2]) swap(box.querySelector("dt"), any ? shown[k][2] : null);
        });
        for (const node of hero.querySelectorAll(".first")) node.hidden = any;
      }
      swap(document.querySelector("header .facts span:last-child"), any ? filled(words.looked_at, {years: wholeYears(f.horizon)}) : null);
      const quarter = {value: f.payback[1], se: f.payback[1] === Infinity ? NaN : f.quarters[0]}, late = {value: f.payback[3], se: f.quarters[1]};
      const when = quarter.value === Infinity ? filled(words.quarter, {years: wholeYears(f.horizon)}) : late.value === Infinity ? filled(words.quarter_in, {years: years(quarter, f.horizon)})
        : filled(words.half_in, {low: group(quarter.value, riskcalcPage.places(quarter.se, 1, quarter.value)), high: years(late, f.horizon)});
      swap(document.getElementById("when-title"), any ? when : null);
      swap(document.getElementById("money-title"), any ? filled(words.nine, {low: money(f.worthLow.value, f.worthLow.se), high: money(f.worthHigh.value, f.worthHigh.se)}) : null);
      if (data.options[0].claims.length) swap(document.getElementById("claims-title"), any ? words.yours : null);
      const counts = any ? dots(words.later ? f.within : f.withinHeadline) : null, early = words.later && any ? dots(f.withinHeadline) : counts, missing = any ? counts[counts.length - 1] : 0, said = wholeYears(f.headline);
      const title = !any ? null : filled(missing === 0 ? words.all_pay : missing === 100 ? words.none_pays : words.some_pay, {years: said, count: 100 - missing});
      redraw("futures", title, () => dotsDrawn(counts, early));
      const odds = f.payback[2] === Infinity ? (1 - f.never.value >= words.nearly ? words.odds_near : words.odds_few) : f.never.value ? words.odds_half : words.odds_all;
      redraw("odds", any ? filled(odds, {share: percent(f.never.value, f.never.se), middle: years(f.paybackHalf, f.horizon), years: wholeYears(f.horizon)}) : null, () => oddsDrawn(f));
      const end = f.bands[f.horizon][2];
      redraw("cash", any ? filled(end >= 0 ? words.ahead : words.short, {years: wholeYears(f.horizon), amount: money(Math.abs(end), NaN)}) : null, () => cashDrawn(f));
      redraw("worth", any ? filled(words.worth_title, {loss: percent(f.lost.value, f.lost.se), mean: money(f.worthMean.value, f.worthMean.se || 0)}) : null, () => worthDrawn(found));
    };
    const unitText = (x, unit, horizon) => (x === Infinity ? notWithin(horizon) : unit === "share" ? percent(x) : unit === "years" ? years({value: x, se: 0.01}, horizon) : money(x, NaN));
    const followClaims = (found, typed, horizon, any) => {
      const shown = [];
      const blocks = document.querySelectorAll(".claim");
      for (const claim of data.options[0].claims) {
        const block = blocks[claim.place], beyond = claim.years > horizon || (/payback_years$/.test(claim.measure) && (claim.at_most === null ? claim.at_least : claim.at_most) > horizon);
        const held = beyond ? null : claimOf(data, data.options[0], found, typed, claim);
        shown.push({place: claim.place, share: held && held.share.value, points: held && held.points.map((x) => (x === Infinity ? null : x))});
        if (!block) continue;
        const error = held && held.share.se > 0 ? `\u00a0±\u00a0${percent(held.share.se).replace(/\u202f%$/, "")}` : "";
        swap(block.querySelector("[data-claim=verdict]"), !any ? null : held ? filled(words.claim_true, {share: percent(held.share.value, held.share.se) + error}) : words.claim_beyond);
        swap(block.querySelector("[data-claim=measured]"), !any ? null : held ? filled(claim.said, Object.fromEntries(["low", "middle", "high"].map((name, k) => [name, unitText(held.points[k], claim.unit, horizon)]))) : "");
        block.querySelector("[data-claim=change]").hidden = any;
      }
      return shown;
    };

    // Several options: each against doing nothing, and which is best in how many futures.
    const choicesOf = (found, typed, horizon) => {
      const choices = found.map((each, place) => ({name: data.options[place].title, called: filled(words.choice, {letter: data.options[place].title.split(" · ")[0]}), worth: each.worth, found: each}));
      choices.push({name: words.nothing, called: words.deeds["do nothing"], worth: new Float64Array(data.draws)});
      if (data.options.some((option) => option.savings_rate)) {
        const rates = data.options.map((option, k) => [option.savings_rate || (typed[k]["prices.discount_rate_per_year"] === undefined ? option.values["prices.discount_rate_per_year"] : () => typed[k]["prices.discount_rate_per_year"]),
          typed[k]["prices.discount_rate_per_year"] === undefined ? option.values["prices.discount_rate_per_year"] : () => typed[k]["prices.discount_rate_per_year"]]);
        choices.push({name: words.savings, called: words.deeds["put the money in savings"], worth: Float64Array.from(found[0].worth, (_, d) => {
          let dearest = 0;
          found.forEach((each, k) => { if (each.spent[d] > found[dearest].spent[d]) dearest = k; });
          const [own, discount] = rates[dearest];
          return found[dearest].spent[d] * (((1 + own(d)) / (1 + discount(d))) ** horizon - 1);
        })});
      }
      const best = choices.map(() => new Float64Array(data.draws));
      for (let d = 0; d < data.draws; d++) {
        let top = -Infinity, many = 0;
        for (const choice of choices) { if (choice.worth[d] > top) { top = choice.worth[d]; many = 1; } else if (choice.worth[d] === top) many += 1; }
        choices.forEach((choice, k) => { best[k][d] = choice.worth[d] === top ? 1 / many : 0; });
      }
      return choices.map((choice, k) => ({...choice, best: meanWithError(best[k], data.scrambles), mean: meanWithError(choice.worth, data.scrambles),
        ends: ((s) => [quantile(s, 0.05), quantile(s, 0.95)])(Float64Array.from(choice.worth).sort()),
        paid: choice.found ? meanWithError(Float64Array.from(choice.found.payback, (x, d) => (choice.found.bought[d] ? (x <= horizon ? 1 : 0) : NaN)), data.scrambles) : null}));
    };
    // How often a choice is better than doing nothing, and whether that is seldom: less than half of the time, by two standard errors.
    const gainedBy = (choice) => meanWithError(choice.worth.map((x) => (x > 0 ? 1 : 0)), data.scrambles), seldom = (choice) => ((share) => share.value + 2 * (share.se || 0) < 0.5)(gainedBy(choice));
    const start = (text) => text.charAt(0).toUpperCase() + text.slice(1);
    const seldomKind = (choices) => ({1: "alone", 2: "neither"})[choices.length] || "none";
    const leadWords = (horizon, ...ranked) => {
      const [first, next] = ranked, deeds = ranked.filter((choice) => choice.called !== words.deeds["do nothing"]);
      const apart = meanWithError(first.worth.map((x, d) => x - next.worth[d]), data.scrambles), se = apart.se || 0, kind = se === 0 && apart.value === 0 ? "same" : Math.abs(apart.value) < 2 * se ? "close" : "ahead";
      const gains = kind === "ahead" && first.called !== words.deeds["do nothing"];
      const said = filled(words.leads[gains ? "gains" : kind], {best: first.called, years: wholeYears(horizon), ...(gains ? {lead: money(first.mean.value, first.mean.se || 0)} : {other: next.called, lead: money(Math.abs(apart.value), se)})});
      const lead = gains && deeds.every(seldom) ? filled(words.leads[seldomKind(deeds)], {choice: start(first.called)}) : start(said);
      return {lead, rest: se ? filled(words.lead_error, {draws: group(data.draws, 0), error: money(2 * se, se)}) : ""};
    };
    const homesWords = (horizon, kits) => {
      const [best, next] = kits, of = (kit) => filled(words.homes.kit, {letter: kit.name.split(" · ")[0]});
      const amount = (kit) => money(Math.abs(kit.mean.value), kit.mean.se || 0), apart = next && meanWithError(best.worth.map((x, d) => x - next.worth[d]), data.scrambles);
      const close = next && Math.abs(apart.value) < 2 * (apart.se || 0), kind = close ? "close" : best.mean.value > 0 ? "gains" : "loses", often = gainedBy(best);
      if (kind === "gains" && kits.every(seldom)) {
        const odds = [...kits].sort((a, b) => gainedBy(b).value - gainedBy(a).value).slice(0, words.homes.most + 1).map((kit) => [of(kit), gainedBy(kit)]);
        return {lead: filled(words.homes[seldomKind(kits)], {choice: start(of(best))}), rest: odds.map(([choice, share]) => filled(words.homes.often, {choice: start(choice), share: percent(share.value, share.se)})).join(" ")};
      }
      const others = (close ? kits.slice(0, words.homes.most + 1) : kits.slice(1, words.homes.most + 1)).map((kit) => filled(kit.mean.value > 0 ? words.homes.kit_gains : words.homes.kit_loses, {kit: start(of(kit)), amount: amount(kit)}));
      if (kind === "gains" && seldom(best)) others.unshift(filled(words.homes.often_not, {share: percent(often.value, often.se), choice: of(best)}));
      return {lead: filled(words.homes[kind], {best: start(of(best)), amount: amount(best), years: wholeYears(horizon)}), rest: others.join(" ")};
    };
    const spreadsDrawn = (choices) => {
      const svg = canvas(600, 34 * choices.length + 24), low = Math.min(0, ...choices.map((c) => c.ends[0])), high = Math.max(0, ...choices.map((c) => c.ends[1])), at = (x) => (10 + 580 * (x - low) / (high - low || 1)).toFixed(1);
      svg.append(drawn("path", {d: `M${at(0)},0V${34 * choices.length + 6}`, class: "zero"}));
      choices.forEach((choice, k) => svg.append(drawn("text", {x: 10, y: 34 * k + 13}, choice.name), drawn("path", {d: `M${at(choice.ends[0])},${34 * k + 24}H${at(choice.ends[1])}`, class: "range"}),
        drawn("circle", {cx: at(choice.mean.value), cy: 34 * k + 24, r: 5, class: "paid"})));
      svg.append(drawn("text", {x: at(0), y: 34 * choices.length + 20, "text-anchor": Number(at(0)) > 560 ? "end" : Number(at(0)) < 40 ? "start" : "middle"}, "0"));
      return svg;
    };

    let published = null;
    const update = () => {
      const {typed, horizon, any} = read(), found = data.options.map((option, place) => made(data, option, typed[place], horizon));
      panel.dataset.typed = any ? "yes" : "";
      if (leads) { document.body.classList.toggle("own-typed", any); for (const note of document.querySelectorAll(".published")) note.hidden = !any; }
      let sentence;
      if (single) {
        const f = figuresOf(data, found[0]);
        published = published || f;
        const claims = followClaims(found[0], typed[0], horizon, any);
        follow(found[0], f, any);
        sentence = `${verdict(f)} ${reasons(f)}`.trim();
        const rows = (each) => [[words.rows.odds, percent(each.odds, each.paid.se)], [words.rows.half, years(each.paybackHalf, each.horizon)], [words.rows.outlay, money(each.outlay.value, each.outlay.se || 0)],
          [words.rows.saving, money(each.saving.value, each.saving.se || 0)], [words.rows.middle, money(each.worthHalf.value, each.worthHalf.se)], [words.rows.bad, money(each.worthBad.value, each.worthBad.se)], [words.rows.loss, percent(each.lost.value, each.lost.se)]];
        const before = rows(published);
        part("table").replaceChildren(row(words.head, true), ...rows(f).map((cells, k) => row([...cells, before[k][1]])));
        part("charts").replaceChildren(oddsDrawn(f), cashDrawn(f));
        panel.dataset.figures = JSON.stringify({odds: f.odds, paid: f.paid.value, payback: f.payback.map((x) => (x === Infinity ? null : x)), worth: f.worth, saving: f.saving.value, outlay: f.outlay.value, within: f.within, bands: f.bands, claims});
        if (any || panel.dataset.told) document.dispatchEvent(new CustomEvent("own-figures", {detail: any ? {payback: found[0].payback, worth: found[0].worth} : null}));
        panel.dataset.told = any ? "yes" : "";
      } else {
        const choices = choicesOf(found, typed, horizon), ranked = [...choices].sort((a, b) => b.mean.value - a.mean.value);
        const told = words.homes ? homesWords(horizon, ranked.filter((choice) => choice.found)) : leadWords(horizon, ...ranked);
        sentence = `${told.lead} ${told.rest}`.trim();
        part("table").replaceChildren(row(words.head_options, true), ...ranked.map((c) => row([c.name, money(c.mean.value, c.mean.se || 0), filled(words.range, {low: money(c.ends[0], NaN), high: money(c.ends[1], NaN)}), c.paid ? percent(c.paid.value, c.paid.se) : "\u2013", percent(c.best.value, c.best.se)])));
        part("charts").replaceChildren(spreadsDrawn(ranked));
        if (leads) swap(document.querySelector("#answer .opening"), any ? told.lead : null);
        if (leads && words.homes) swap(document.querySelector("#answer [data-brief]"), any ? told.rest : null);
        panel.dataset.figures = JSON.stringify(choices.map((c) => ({name: c.name, mean: c.mean.value, ends: c.ends, paid: c.paid && c.paid.value, best: c.best.value})));
      }
      part("sentence").textContent = any ? filled(words.with_yours, {sentence}) : "";
      if (leads) for (const node of document.querySelectorAll("[data-own-answer]")) node.hidden = !any;
      part("reset").disabled = !any;
    };
    return {panel, fields, update, reset: part("reset")};
  };

  const ready = [];
  for (const panel of panels) ready.push(setUp(panel, await loaded(panel)));
  const everyField = ready.flatMap((one) => one.fields);
  const keepAddress = () => {
    const typed = everyField.filter((field) => field.value.trim() !== "").map((field) => `${encodeURIComponent(field.name)}=${encodeURIComponent(field.value.trim())}`);
    if (typed.length || location.hash.startsWith("#own:")) history.replaceState(null, "", typed.length ? `#own:${typed.join("&")}` : location.pathname + location.search);
  };
  const fromAddress = () => {
    if (!location.hash.startsWith("#own:")) return false;
    const given = new Map(location.hash.slice(5).split("&").map((pair) => pair.split("=").map((text) => { try { return decodeURIComponent(text); } catch { return ""; } })));
    for (const field of everyField) field.value = (given.get(field.name) || "").slice(0, 20);
    return true;
  };
  for (const one of ready) {
    for (const field of one.fields) field.addEventListener("input", () => { one.update(); keepAddress(); });
    one.reset.addEventListener("click", () => { for (const field of one.fields) field.value = ""; one.update(); keepAddress(); one.fields[0].focus(); });
  }
  const sent = fromAddress();
  for (const one of ready) { one.panel.hidden = false; one.update(); one.panel.dataset.ready = "yes"; }
  window.addEventListener("hashchange", () => { if (fromAddress()) for (const one of ready) one.update(); });
  for (const part of document.querySelectorAll("section[data-needs-script], nav [data-needs-script]")) if (part.querySelector(".own") || part.querySelector("a[href='#yours']")) part.hidden = false;
  if (sent) { const typed = ready.find((one) => one.panel.dataset.typed === "yes"); if (typed) typed.panel.scrollIntoView(); }
})();

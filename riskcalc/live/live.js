"use strict";
(() => {
  const token = new URLSearchParams(location.search).get("token") || "";
  const byId = (id) => document.getElementById(id);
  let currency = "EUR", question = 0, asked = 0, shown = -1, kinds = {};

  const call = async (path, body) => {
    const options = { headers: { "X-Riskcalc-Token": token } };
    if (body !== undefined) {
      options.method = "POST";
      options.body = JSON.stringify(body);
      options.headers["Content-Type"] = "application/json";
    }
    const answer = await fetch(path, options);
    if (!answer.ok) { say(`The workbench refused this: ${await answer.text()}`); throw new Error(path); }
    return answer.json();
  };
  const say = (text) => { byId("said").textContent = text; };
  const make = (name, text, attributes) => {
    const node = document.createElement(name);
    if (text !== undefined) node.textContent = text;
    for (const [key, value] of Object.entries(attributes || {})) node.setAttribute(key, value);
    return node;
  };
  const drawn = (name, attributes, text) => {
    const node = document.createElementNS("http://www.w3.org/2000/svg", name);
    for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
    if (text !== undefined) node.textContent = text;
    return node;
  };
  const money = (value) => value === null ? "not known" : new Intl.NumberFormat("en-GB", { style: "currency", currency, maximumFractionDigits: 0 }).format(value).replace("-", "\u2212");
  const years = (value) => value === null ? "not within these years" : `${value.toFixed(1)} years`;
  const error = (figure, write) => figure.standard_error === null ? "" : `standard error ${write(figure.standard_error)}`;

  // The left side: one field a key, its words, bounds and source, and its distribution as a shape.
  const opened = new Set(["tariff", "prices", "kit", "purchase"]);
  const changesOf = (form) => {
    const count = Object.keys(form.changes).length;
    return `${form.file}, ${count === 0 ? "unchanged" : count === 1 ? "1 change" : `${count} changes`}`;
  };
  let late = null;
  const typing = (field) => field !== null && field.dataset.sent !== undefined && field.value !== field.dataset.sent;
  // What came while a figure was typed is filled in now; a refused text goes back to its field. Returns the row of the key.
  const refilled = (row, text) => {
    if (!late) return row;
    byId("keys").replaceChildren(...late.map(tableOf));
    late = null;
    const again = row && [...document.querySelectorAll("[data-key]")].find((node) => node.dataset.key === row.dataset.key);
    if (again && text) { const field = again.querySelector("input, select"); field.value = text; field.dataset.sent = text; }
    return again || row;
  };
  const fill = (form) => {
    currency = form.currency;
    kinds = form.kinds;
    byId("title").textContent = form.title;
    document.title = `${form.title}: riskcalc workbench`;
    byId("file").textContent = changesOf(form);
    byId("undo").disabled = !form.can_undo;
    byId("redo").disabled = !form.can_redo;
    byId("reset").disabled = Object.keys(form.changes).length === 0;
    const focus = document.activeElement && document.activeElement.id;
    const shelves = byId("shelves");
    shelves.replaceChildren(...Object.entries(form.shelves).filter(([, shelf]) => shelf.files.length).map(([table, shelf]) => pickOf(table, shelf)));
    // A grip in the hand and a figure half typed stay: letting go turns the figure, and the reply to that fills the form.
    late = null;
    if (byId("keys").querySelector(".held") || typing(document.activeElement)) late = form.tables;
    else byId("keys").replaceChildren(...form.tables.map(tableOf));
    if (focus && byId(focus)) byId(focus).focus({ preventScroll: true });
  };
  const pickOf = (table, shelf) => {
    const row = make("div", undefined, { class: "key" });
    const id = `pick-${table}`;
    row.append(make("label", `Take the ${table} from the shelf`, { for: id }));
    const select = make("select", undefined, { id });
    select.append(make("option", "as the scenario has it", { value: "" }));
    for (const file of shelf.files) select.append(make("option", file, { value: file }));
    select.value = shelf.picked || "";
    select.addEventListener("change", () => turn(select.value ? "pick" : "change",
      select.value ? { table, name: select.value } : { key: `${table}.from`, value: null }, row));
    row.append(select, make("small", "", { class: "wrong" }));
    return row;
  };
  const tableOf = (table) => {
    const details = make("details");
    details.open = opened.has(table.name);
    details.addEventListener("toggle", () => details.open ? opened.add(table.name) : opened.delete(table.name));
    details.append(make("summary", table.name), ...table.keys.map(keyOf));
    return details;
  };
  const keyOf = (key) => {
    const row = make("div", undefined, { class: key.is_changed ? "key changed" : "key" });
    row.dataset.key = key.key;
    const id = `key-${key.key}`;
    row.append(make("label", key.unit ? `${key.label} [${key.unit}]` : key.label, { for: id }));
    let field;
    if (key.choices.length) {
      field = make("select", undefined, { id });
      for (const choice of key.choices) field.append(make("option", choice, { value: JSON.stringify(choice) }));
    } else {
      field = make("input", undefined, { id, type: "text", inputmode: key.shape ? "text" : "decimal" });
    }
    field.value = key.value;
    field.dataset.sent = field.value;
    field.setAttribute("aria-describedby", `${id}-help ${id}-wrong`);
    field.addEventListener("change", () => { field.dataset.sent = field.value; turn("change", { key: key.key, value: field.value.trim() || null }, row); });
    field.addEventListener("blur", () => { if (!typing(field) && !byId("keys").hasAttribute("aria-busy")) setTimeout(() => refilled()); });
    row.append(field);
    if (key.may_vary) row.append(shapeOf(key, field, row));
    const bounds = key.low === null && key.high === null ? "" : ` From ${key.low ?? "any"} to ${key.high ?? "any"}.`;
    row.append(make("small", `${key.help}.${bounds} Source: ${key.source || "none given"}`, { id: `${id}-help` }));
    row.append(make("small", "", { class: "wrong", id: `${id}-wrong` }));
    if (key.is_changed) {
      const back = make("button", "Take this change back", { type: "button" });
      back.addEventListener("click", () => turn("change", { key: key.key, value: null }, row));
      row.append(back);
    }
    return row;
  };

  // A key that may vary has a sketch of its distribution, and behind it the editor of shapes.
  const edited = new Set();
  const shapeOf = (key, field, row) => {
    const details = make("details", undefined, { class: "shaping" }), summary = make("summary", key.shape ? "Shape" : "Let it vary");
    if (key.shape) summary.append(sketchOf(key.shape.quantiles));
    details.append(summary);
    const open = () => {
      if (details.querySelector(".editor")) return;
      details.append(riskcalcShape.editor(key, kinds, { make, drawn, send: (text) => { field.value = text; turn("change", { key: key.key, value: text }, row); } }));
    };
    details.addEventListener("toggle", () => { if (details.open) { edited.add(key.key); open(); } else edited.delete(key.key); });
    if (edited.has(key.key)) { details.open = true; open(); }
    return details;
  };
  const sketchOf = (points) => {
    const wide = 90, high = 22, low = points[0], span = points[points.length - 1] - low || 1, place = (value) => ((value - low) / span * wide).toFixed(1);
    const density = points.slice(1).map((point, index) => 1 / Math.max(point - points[index], 1e-6 * span)), most = Math.max(...density.slice(1, -1));
    const svg = drawn("svg", { class: "sketch", viewBox: `0 0 ${wide} ${high}`, "aria-hidden": "true" });
    svg.append(drawn("path", { d: `M0,${high}${density.map((tall, index) => `L${place((points[index] + points[index + 1]) / 2)},${(high - Math.min(1, tall / most) * (high - 3)).toFixed(1)}`).join("")}L${wide},${high}Z` }));
    return svg;
  };

  const complain = (problems, row) => {
    for (const old of document.querySelectorAll(".wrong")) old.textContent = "";
    for (const old of document.querySelectorAll("[aria-invalid]")) old.removeAttribute("aria-invalid");
    byId("answer").classList.toggle("stale", problems.length > 0);
    if (!problems.length) return;
    const told = problems.map((problem) => `Given: ${problem.given}. Accepted: ${problem.accepted}.${problem.hint ? ` ${problem.hint}.` : ""}`).join(" ");
    const at = row || [...document.querySelectorAll("[data-key]")].find((node) => problems.some((problem) => `${problem.key}.`.startsWith(`${node.dataset.key}.`)));
    if (at) {
      at.querySelector(".wrong").textContent = told;
      const field = at.querySelector("input, select");
      if (field) field.setAttribute("aria-invalid", "true");
    }
    say(at ? "This value is not accepted. The last good answer stays." : told);
  };
  const turn = async (name, body, row) => {
    say("");
    const mine = ++asked;
    byId("keys").setAttribute("aria-busy", "true");
    let answer;
    try { answer = await call(`/turn/${name}`, body || {}); } finally { if (mine === asked) byId("keys").removeAttribute("aria-busy"); }
    if (mine !== asked) return;
    if (answer.form) {
      question = answer.question;
      fill(answer.form);
      // The answer may have come by the stream before this reply did.
      if (shown < question) {
        byId("stage").textContent = "Working out the answer.";
        byId("progress").hidden = false;
        byId("progress").removeAttribute("value");
      }
    }
    complain(answer.problems, answer.form ? null : refilled(row, body && body.value));
  };

  // The right side: the answer as it sharpens.
  const show = (answer) => {
    if (answer.question !== undefined && answer.question < question) return;
    shown = answer.question;
    if (answer.problems) { complain(answer.problems, null); return; }
    if (!answer.odds) return;
    currency = answer.currency;
    byId("answer").classList.remove("stale");
    byId("stage").textContent = answer.last
      ? `Settled: ${answer.draws} futures, as riskcalc assess gives them.`
      : `Rough: ${answer.draws} of ${answer.all_draws} futures so far. It sharpens by itself.`;
    byId("progress").hidden = answer.last;
    byId("progress").max = answer.all_draws;
    byId("progress").value = answer.draws;
    byId("answer").classList.toggle("rough", !answer.last);
    const odds = answer.odds.value, worth = answer.net_present_value;
    byId("sentence").textContent = answer.sentence;
    const rows = [
      ["Cost with installation", money(answer.outlay), answer.bought_share < 1 ? `bought in ${share(answer.bought_share)} futures` : ""],
      ["Odds of payback", `${Math.round(100 * odds)} %`, error(answer.odds, (value) => `${(100 * value).toFixed(1)} points`)],
      ["Half have paid back after", years(answer.payback_years.p50.value), error(answer.payback_years.p50, (value) => `${value.toFixed(1)} years`)],
      ["Saved in the first year", money(answer.first_year_saving.value), error(answer.first_year_saving, money)],
      ["Worth in the middle future", money(worth.p50.value), error(worth.p50, money)],
      ["Worth in a bad one (1 in 20 is worse)", money(worth.p5.value), error(worth.p5, money)],
    ];
    byId("figures").replaceChildren(...rows.map(([term, figure, below]) => {
      const box = make("div");
      const value = make("dd", figure);
      value.append(make("small", below));
      box.append(make("dt", term), value);
      return box;
    }));
    curve(answer.paid_back_within_years);
    pinned(answer.pins);
    if (answer.last && !byId("report").hidden) byId("report").src = `/report?token=${encodeURIComponent(token)}&q=${answer.question}`;
  };
  const curve = (shares) => {
    const svg = byId("curve"), step = 560 / shares.length;
    svg.replaceChildren(drawn("text", { x: 0, y: 12 }, "100 %"), drawn("text", { x: 0, y: 160 }, "0"));
    shares.forEach((value, index) => {
      svg.append(drawn("rect", { x: 38 + index * step, y: 158 - 146 * value, width: step * 0.8, height: 146 * value }));
      if (shares.length <= 16 || index % 2 === 1) svg.append(drawn("text", { x: 38 + (index + 0.4) * step, y: 174, "text-anchor": "middle" }, index + 1));
    });
  };
  const pinned = (pins) => {
    const table = byId("pins");
    if (!pins.length) { table.replaceChildren(); return; }
    const head = make("tr");
    for (const word of ["Pinned", "Its odds", "Its mean worth", "Now worth more by", "Now odds up by", "Let go"]) head.append(make("th", word, { scope: "col" }));
    table.replaceChildren(head, ...pins.map((pin, index) => {
      const row = make("tr");
      const difference = (figure, write) => figure.value === null ? "at the end" : `${write(figure.value)} (${error(figure, write)})`;
      const words = [`${Math.round(100 * pin.odds)} %`, money(pin.mean_worth), difference(pin.better_by, money), difference(pin.odds_up_by, (value) => `${(100 * value).toFixed(1)} points`)];
      const off = make("button", "Unpin", { type: "button", "aria-label": `Unpin ${pin.name}` });
      off.addEventListener("click", async () => { const answer = await call("/unpin", { index }); question = answer.question; });
      row.append(make("th", pin.name, { scope: "row" }), ...words.map((word) => make("td", word)), make("td"));
      row.lastChild.append(off);
      return row;
    }));
  };

  for (const name of ["undo", "redo", "reset"]) byId(name).addEventListener("click", () => turn(name));
  byId("keys").addEventListener("submit", (event) => event.preventDefault());
  byId("pin").addEventListener("click", async () => {
    const answer = await call("/pin", { name: byId("pin-name").value || "pinned" });
    if (answer.problems.length) say(`${answer.problems[0].given}. Accepted: ${answer.problems[0].accepted}.`);
    else question = answer.question;
  });
  const saved = (answer) => answer.problems.length
    ? say(`Not saved. Given: ${answer.problems[0].given}. Accepted: ${answer.problems[0].accepted}.`)
    : say(`Saved: ${answer.saved}`);
  byId("save").addEventListener("click", async () => saved(await call("/save", { name: byId("name").value.trim() })));
  byId("save-report").addEventListener("click", async () => saved(await call("/save-report", {})));
  byId("copy").addEventListener("click", async () => {
    const { command } = await call("/command");
    try { await navigator.clipboard.writeText(command); say(`Copied: ${command}`); } catch { say(command); }
  });
  byId("show-report").addEventListener("click", () => {
    byId("report").hidden = false;
    byId("report").src = `/report?token=${encodeURIComponent(token)}`;
  });

  const listen = async () => {
    const answer = await fetch("/stream", { headers: { "X-Riskcalc-Token": token } });
    const reader = answer.body.getReader(), decoder = new TextDecoder();
    let held = "";
    for (;;) {
      const { done, value } = await reader.read();
      if (done) break;
      held += decoder.decode(value, { stream: true });
      const parts = held.split("\n\n");
      held = parts.pop();
      for (const part of parts) if (part.startsWith("data: ")) show(JSON.parse(part.slice(6)));
    }
    say("The workbench has ended. Start riskcalc live again to go on.");
  };
  call("/state").then((state) => { fill(state.form); if (state.answer.odds) show(state.answer); listen().catch(() => say("The workbench has ended. Start riskcalc live again to go on.")); });
})();

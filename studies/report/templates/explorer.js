"use strict";
(() => {
  const root = document.querySelector(".explorer");
  const data = JSON.parse(document.getElementById("explorer-data").textContent);
  const byNumber = new Map(data.candidates.map(c => [c.n, c]));
  const controls = root.querySelector(".controls"), output = root.querySelector("output"), list = root.querySelector("dl");
  const part = name => root.querySelector(`[data-part="${name}"]`);
  const wanted = {};                                     // scheme and value of every axis, as last asked for
  let shown = null;

  // --- which candidate ---------------------------------------------------------------------------------

  const valuesOf = (scheme, axis) => [...new Set(data.candidates.filter(c => c.scheme === scheme)
    .map(c => c.at[axis]).filter(v => v !== null))].sort((a, b) => a < b ? -1 : a > b ? 1 : 0);

  // of the scheme's candidates the one with what was moved last and most of the rest as asked for
  function nearest(moved) {
    const off = c => c.at.reduce((sum, v, k) => sum + (v === null || v === wanted[k] ? 0 : k === moved ? 100 : 1), 0);
    return data.candidates.filter(c => c.scheme === wanted.scheme)
      .reduce((best, c) => best === null || off(c) < off(best) ? c : best, null);
  }

  function ask(candidate) {
    wanted.scheme = candidate.scheme;
    candidate.at.forEach((v, k) => { if (v !== null || !(k in wanted)) wanted[k] = v; });
    show(candidate);
  }

  // --- words -------------------------------------------------------------------------------------------

  function plain(value, digits) {
    const rounded = Number(value.toPrecision(digits));
    if (rounded !== 0 && Math.abs(rounded) < 1e-4) return rounded.toExponential();
    return rounded.toFixed(10).replace(/\.?0+$/, "");
  }
  const percent = (p, digits) => plain(100 * p, digits) + " %";
  const isOf = c => Object.fromEntries(data.numbers.map((name, k) => [name, c.is[k]]));
  const setting = c => data.axes.map((axis, k) => c.at[k] === null || axis.key === "delay_s" ? null :
    `${axis.label.toLowerCase()} ${c.at[k]} ${axis.unit}`.trim()).filter(text => text)
    .concat(delay(c)).join(", ");
  const delay = c => { const s = c.at[data.axes.findIndex(a => a.key === "delay_s")]; return s ? `delay ${s} s` : "no delay"; };

  function sentence(c, is) {
    const missed = is.p_missed === null ? "missed faults unresolved" : `misses ${percent(is.p_missed, 3)}`;
    const tripped = is.p_false === null ? "false trips unresolved" : is.p_false === 0 ?
      `no false trip seen, fewer than ${percent(is.p_false_high, 2)}` : `trips falsely on ${percent(is.p_false, 2)}`;
    return `No. ${c.n}, ${data.schemes[c.scheme]}: ${setting(c)}: ${missed}, ${tripped}; ` +
      (c.note ? `not allowed: ${c.note}.` : "the policy allows it.");
  }

  function number(name, value, text) {                   // what is read, and the double behind it
    const element = document.createElement("data");
    element.value = String(value);
    element.dataset.name = name;
    element.textContent = text;
    return element;
  }

  function entry(term, kind, parts) {
    const dt = document.createElement("dt"), dd = document.createElement("dd");
    dt.textContent = term;
    if (kind) dd.className = kind;
    dd.append(...parts);
    list.append(dt, dd);
  }

  function limits(is, name, digits) {
    if (is[name] === null) return ["unresolved"];
    const [p, low, high] = ["", "_low", "_high"].map(end => number(name + end, is[name + end], percent(is[name + end], digits)));
    if (name === "p_false" && is.p_false === 0) {
      p.textContent = "none seen";
      return [p, ", fewer than ", high];
    }
    return [p, " (", low, " to ", high, ")"];
  }

  function cost(is) {
    if (is.cost_per_year === null) return ["unresolved"];
    const [p, low, high] = ["", "_low", "_high"].map(end => number("cost_per_year" + end, is["cost_per_year" + end],
      Number(is["cost_per_year" + end].toPrecision(3)).toLocaleString("en")));
    return [p, " (", low, " to ", high, ") ", data.cost_unit];
  }

  function describe(c, is) {
    list.replaceChildren();
    entry("Missed faults, of those in scope", "missed", limits(is, "p_missed", 3));
    entry("False trips, of the external events", "false", limits(is, "p_false", 2));
    if (is.missed_per_year !== null) entry("Missed faults a year", "", [number("missed_per_year", is.missed_per_year, plain(is.missed_per_year, 3))]);
    if (is.p_false === 0) entry("False trips a year", "", [number("false_per_year", is.false_per_year, "none seen")]);
    else if (is.false_per_year !== null) entry("False trips a year", "", [number("false_per_year", is.false_per_year, plain(is.false_per_year, 3))]);
    if (is.protected_median !== null) entry("Median protected part of the winding (5th to 95th percentile)", "",
      [number("protected_median", is.protected_median, percent(is.protected_median, 3)), " (",
       number("protected_p05", is.protected_p05, percent(is.protected_p05, 3)), " to ",
       number("protected_p95", is.protected_p95, percent(is.protected_p95, 3)), ")"]);
    if ("p_nobody" in is) entry("Missed by the back-up too", "", limits(is, "p_nobody", 3));
    if ("cost_per_year" in is) entry("Cost a year", "", cost(is));
    entry("Upper limit of the false trips that the policy uses", "", is.p_false_bound === null ? ["unresolved"] :
      [number("p_false_bound", is.p_false_bound, percent(is.p_false_bound, 2))]);
    entry("Usable: no operation on load, knee rule kept", "", [c.usable ? "yes" : "no"]);
    entry("Allowed by the policy's limits", "", [c.allowed ? "yes" : "no"]);
    entry("Policy", "", [c.note ? `does not allow it: ${c.note}` : "allows it"]);
    entry("Samples", "", [c.batch === 2 ? "independent sample" : "selection sample"]);
  }

  // --- pictures ----------------------------------------------------------------------------------------

  const across = p => p <= 0 ? data.scale.none :
    data.scale.first + (data.scale.right - data.scale.first) * Math.max(Math.log10(p) - data.scale.low, 0) / -data.scale.low;
  const height = p => data.scale.bottom - (data.scale.bottom - data.scale.top) * p;

  function draw(is) {
    const known = is.p_missed !== null && is.p_false !== null;
    const x = known ? across(is.p_false) : -20, y = known ? height(is.p_missed) : -20;
    part("ring").setAttribute("cx", x);
    part("ring").setAttribute("cy", y);
    part("across").setAttribute("d", known ? `M${across(is.p_false_low)} ${y}H${across(is.p_false_high)}` : "");
    part("upright").setAttribute("d", known ? `M${x} ${height(is.p_missed_low)}V${height(is.p_missed_high)}` : "");
    const unprotected = is.protected_median === null ? null : 1 - is.protected_median;
    const { left, right } = data.scale, place = share => left + (right - left) * share;
    part("unprotected").setAttribute("width", unprotected === null ? 0 : place(unprotected) - left);
    part("spread").setAttribute("d", unprotected === null ? "" : `M${place(1 - is.protected_p95)} 30H${place(1 - is.protected_p05)}`);
    part("winding-text").textContent = unprotected === null ? "no earth faults in this study" :
      `unprotected: ${percent(unprotected, 3)} from the neutral (median)`;
  }

  function show(candidate) {
    shown = candidate;
    const is = isOf(candidate);
    root.dataset.candidate = candidate.n;
    output.textContent = sentence(candidate, is);
    describe(candidate, is);
    draw(is);
    place();
  }

  // --- controls ----------------------------------------------------------------------------------------

  const choice = document.createElement("select");
  for (const [kind, name] of Object.entries(data.schemes)) choice.add(new Option(name, kind));
  choice.addEventListener("input", () => { wanted.scheme = choice.value; show(nearest(-1)); });
  const sliders = data.axes.map((axis, k) => {
    const label = document.createElement("label"), value = document.createElement("b"), input = document.createElement("input");
    Object.assign(input, { type: "range", min: 0, step: 1 });
    input.dataset.axis = axis.key;
    label.append(value, axis.label, input);
    input.addEventListener("input", () => { wanted[k] = valuesOf(wanted.scheme, k)[input.value]; show(nearest(k)); });
    return { label, value, input };
  });

  function place() {
    choice.value = shown.scheme;
    sliders.forEach(({ label, value, input }, k) => {
      const values = valuesOf(shown.scheme, k), at = shown.at[k];
      label.hidden = at === null;
      if (at === null) return;
      input.max = values.length - 1;
      input.value = values.indexOf(at);
      input.disabled = values.length < 2;
      const text = `${at} ${data.axes[k].unit}`.trim();
      value.textContent = text;
      input.setAttribute("aria-valuetext", text);
    });
  }

  if (Object.keys(data.schemes).length > 1) {
    const label = document.createElement("label");
    label.append("Scheme", choice);
    controls.append(label);
  }
  controls.append(...sliders.filter((_, k) => data.candidates.some(c => c.at[k] !== null)).map(s => s.label));
  for (const button of root.querySelectorAll("button")) {
    button.addEventListener("click", () => ask(byNumber.get(Number(button.dataset.candidate))));
  }
  root.querySelector("fieldset").hidden = false;
  ask(byNumber.get(data.start));
})();

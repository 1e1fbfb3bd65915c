// The page: from its fields to a request, and from an answer to what is shown. Nothing is kept but what the person saves.
import { expressionInterpreter } from "/vendor/vega-interpreter.js";

const NATIONS = [["england", "England"], ["northern_ireland", "Northern Ireland"], ["scotland", "Scotland"], ["wales", "Wales"]];
const METHODS = [
  ["ufpls", "A lump sum, a quarter of it tax free"],
  ["drawdown", "Income from drawdown"],
  ["pcls_and_drawdown", "Tax-free cash now, the rest to drawdown and paid out"],
  ["pcls", "Tax-free cash only"],
];
const GOALS = [
  ["personal_allowance", "Take what adds no tax"],
  ["basic_rate_band", "Fill the basic rate band"],
  ["higher_rate_band", "Fill the higher rate band"],
  ["most_after_tax", "Leave the most after tax"],
];
const EFFECTS = { not_permitted: "not permitted", costs: "has a cost", check: "to check" };

// A field: its name, its label, its kind, its place in the request, a hint.
// In a place, `income[employment]/amount` is the amount of the income of that kind.
const PERSON = [
  ["name", "First name, if you like", "text", "name"],
  ["born", "Date of birth", "date", "date_of_birth"],
  ["nation", "Where you live", NATIONS, "tax_residence"],
  ["pension", "In the pension, not yet accessed", "money", "pensions/0/uncrystallised"],
  ["drawdown", "In the pension, in drawdown", "money", "pensions/0/drawdown"],
  ["pay", "Pay from a job, a year", "money", "income[employment]/amount"],
  ["state", "State Pension, as a percentage of the full rate", "percent", "income[state_pension]/share_of_full_rate"],
  ["other", "Another pension in payment, a year", "money", "income[defined_benefit_pension]/amount"],
  ["interest", "Interest on savings, a year", "money", "income[savings_interest]/amount"],
  ["isa", "In ISAs", "money", "isa/value"],
  ["subscribed", "Paid into ISAs this tax year", "money", "isa/subscribed_this_year"],
  ["cash", "In cash outside ISAs", "money", "cash"],
];
const GROWTH = [
  ["pension-growth", "Growth of the pension a year, in per cent", "percent", "/assumptions/pension_growth"],
  ["isa-growth", "Growth of ISAs a year, in per cent", "percent", "/assumptions/isa_growth"],
  ["inflation", "Price rises a year, in per cent", "percent", "/assumptions/price_inflation"],
];
const QUESTIONS = {
  "withdrawal-tax": [
    ["date", "Day of the payment", "date", "/withdrawal/date"],
    ["method", "How the money is taken", METHODS, "/withdrawal/method"],
    ["amount", "Amount to take, before tax", "money", "/withdrawal/amount"],
    ["net", "Or: amount wanted after the year's tax", "money", "/withdrawal/net_wanted"],
  ],
  "allowance-schedule": [
    ["start", "First day of the plan", "date", "/start_date"],
    ["end", "Last day of the plan", "date", "/end_date"],
    ["goal", "What the plan should do", GOALS, "/aim/goal"],
    ...GROWTH,
  ],
  "lump-sum-timing": [
    ["start", "First day", "date", "/start_date"],
    ["to-age", "Look ahead to age", "number", "/to_age"],
    ["at-age", "Compare with taking it later, at age", "number", "/options/3/age"],
    ["death", "And if the first person dies at age", "number", "/deaths/0/age"],
    ...GROWTH,
  ],
  warnings: [
    ["date", "Today, or the day that matters", "date", "/date"],
    ["planned-date", "Day of the planned withdrawal", "date", "/withdrawals/0/date"],
    ["planned-method", "How the money would be taken", METHODS, "/withdrawals/0/method"],
    ["planned-amount", "Amount of the planned withdrawal", "money", "/withdrawals/0/amount"],
  ],
};
const FIGURES = {
  "withdrawal-tax": [
    ["Leaves the pension", "withdrawal/gross"],
    ["Of this, tax free", "withdrawal/tax_free"],
    ["Tax deducted by the provider", "payroll/tax_deducted"],
    ["Arrives in the bank", "payroll/paid_out"],
    ["Too much deducted, which can be reclaimed", "payroll/over_deducted"],
    ["Too little deducted, still to be paid", "payroll/under_deducted"],
    ["Tax that the withdrawal adds to the year", "income_tax/on_withdrawal"],
    ["Kept after the year's tax", "net_after_tax"],
  ],
  "allowance-schedule": [
    ["Drawn from pensions", "totals/withdrawn"],
    ["Of this, tax free", "totals/tax_free"],
    ["Income tax", "totals/income_tax"],
    ["Paid into ISAs", "totals/isa_subscriptions"],
    ["Spent", "totals/spent"],
    ["Left after tax", "totals/wealth_after_tax"],
  ],
};

const byId = (id) => document.getElementById(id);
const question = () => document.querySelector("input[name=question]:checked").value;
const pounds = (amount) =>
  new Intl.NumberFormat("en-GB", { style: "currency", currency: "GBP", minimumFractionDigits: Number.isInteger(amount) ? 0 : 2 }).format(amount);

function made(tag, text, attributes = {}) {
  const node = document.createElement(tag);
  if (text) node.textContent = text;
  for (const [name, value] of Object.entries(attributes)) node.setAttribute(name, value);
  return node;
}

// Fields

function field(id, [, label, kind]) {
  const box = made("div", "", { class: "field" });
  box.append(made("label", label, { for: id }));
  let input;
  if (Array.isArray(kind)) {
    input = made("select", "", { id });
    for (const [value, words] of kind) input.append(made("option", words, { value }));
  } else {
    const numeric = { inputmode: "decimal", autocomplete: "off" };
    input = made("input", "", { id, "data-kind": kind, ...(kind === "date" ? { type: "date" } : kind === "text" ? { autocomplete: "off" } : numeric) });
  }
  box.append(input);
  return box;
}

function person(place) {
  const box = made("fieldset", "", { id: `person-${place}` });
  box.append(made("legend", place ? "The second person" : "The first person"));
  const fields = made("div", "", { class: "fields" });
  for (const each of PERSON) fields.append(field(`person-${place}-${each[0]}`, each));
  box.append(fields);
  return box;
}

function details() {
  const box = byId("details");
  const kept = Object.fromEntries([...box.querySelectorAll("input, select")].map((input) => [input.id, input.value]));
  const fields = made("div", "", { class: "fields" });
  for (const each of QUESTIONS[question()]) fields.append(field(`ask-${each[0]}`, each));
  box.replaceChildren(fields);
  for (const [id, value] of Object.entries(kept)) if (byId(id)) byId(id).value = value;
}

// From the fields to a request

function valueOf(input, kind) {
  const text = input.value.trim();
  if (text === "") return undefined;
  if (kind === "date" || kind === "text" || Array.isArray(kind)) return text;
  const number = Number(text.replace(/[£,%\s]/g, ""));
  // What is no number is sent as it is: the service says what is wrong with it.
  if (Number.isNaN(number)) return text;
  return kind === "percent" ? Number((number / 100).toFixed(6)) : number;
}

// Sets a value at a pointer, and keeps which field it is from.
function put(whole, fields, pointer, id, value) {
  const path = pointer.split("/").slice(1);
  let here = whole;
  let at = "";
  path.forEach((part, i) => {
    const kind = /^(\w+)\[(\w+)\]$/.exec(part);
    if (kind) {
      const [, list, name] = kind;
      here[list] ??= [];
      let index = here[list].findIndex((item) => item.kind === name);
      if (index < 0 && value === undefined) return;
      if (index < 0) index = here[list].push({ kind: name }) - 1;
      at += `/${list}/${index}`;
      here = here[list][index];
    } else if (i === path.length - 1) {
      if (value !== undefined) here[part] = value;
      at += `/${part}`;
    } else {
      if (value !== undefined) here[part] ??= /^\d+$/.test(path[i + 1]) ? [] : {};
      here = here[part] ?? {};
      at += `/${part}`;
    }
  });
  fields.set(at, id);
}

function household(fields) {
  const whole = { household: { people: [] } };
  for (let place = 0; place < (byId("couple").checked ? 2 : 1); place++) {
    whole.household.people.push({});
    for (const [name, , kind, path] of PERSON) {
      const id = `person-${place}-${name}`;
      const value = valueOf(byId(id), kind);
      if (value !== undefined || !path.includes("[")) put(whole, fields, `/household/people/${place}/${path}`, id, value);
    }
  }
  const spending = valueOf(byId("spending"), "money");
  if (spending !== undefined) whole.household.spending = [{ amount: spending }];
  fields.set("/household/spending/0/amount", "spending");
  return whole;
}

function taxYear(day) {
  const [year, month, date] = day.split("-").map(Number);
  const start = month > 4 || (month === 4 && date >= 6) ? year : year - 1;
  return `${start}-${String((start + 1) % 100).padStart(2, "0")}`;
}

function asked() {
  const fields = new Map();
  const whole = household(fields);
  const which = question();
  if (which === "lump-sum-timing") {
    whole.options = [{ lump_sums: "all_now" }, { lump_sums: "phased", yearly: "isa_allowance" }, { lump_sums: "with_each_withdrawal" }];
    const later = valueOf(byId("ask-at-age"), "number");
    if (later !== undefined) whole.options.push({ lump_sums: "at_age" });
    if (valueOf(byId("ask-death"), "number") !== undefined) whole.deaths = [{ person: 0 }];
  }
  const planned = which === "warnings" && valueOf(byId("ask-planned-amount"), "money") !== undefined;
  for (const [name, , kind, pointer] of QUESTIONS[which]) {
    const value = name.startsWith("planned") && !planned ? undefined : valueOf(byId(`ask-${name}`), kind);
    put(whole, fields, pointer, `ask-${name}`, value);
  }
  if (which === "withdrawal-tax" && whole.withdrawal?.date) whole.tax_year = taxYear(whole.withdrawal.date);
  fields.set("/tax_year", "ask-date");
  return { which, whole, fields };
}

// Faults

const WORDS = { date: "Enter a date.", money: "Enter an amount in pounds, such as 12,000.", number: "Enter a whole number.", percent: "Enter a percentage, such as 4.5." };

// The service speaks to programmers where a value is missing or of the wrong kind; here it is a person who is told.
function inWords({ code, detail }, input) {
  if (code === "missing") return "Please fill this in.";
  if (/JSON|YYYY-MM-DD/.test(detail) && WORDS[input?.dataset.kind]) return WORDS[input.dataset.kind];
  return detail.replace(/\b\d{4}-\d\d-\d\d\b/g, (day) => new Date(day).toLocaleDateString("en-GB", { dateStyle: "long", timeZone: "UTC" }));
}

function noFaults() {
  byId("faults").hidden = true;
  byId("faults-list").replaceChildren();
  for (const said of document.querySelectorAll(".wrong")) said.remove();
  for (const input of document.querySelectorAll("[aria-invalid]")) {
    input.removeAttribute("aria-invalid");
    if (input.id === "spending") input.setAttribute("aria-describedby", "spending-hint");
    else input.removeAttribute("aria-describedby");
  }
}

// The field a pointer leads to, or the one that the nearest part above it or below it is from.
function fieldAt(pointer, fields) {
  for (let at = pointer.replace(/^#/, ""); at; at = at.slice(0, at.lastIndexOf("/"))) {
    if (fields.has(at)) return byId(fields.get(at));
    for (const [place, id] of fields) if (place.startsWith(`${at}/`)) return byId(id);
  }
  return null;
}

function showFaults(problem, fields) {
  const faults = problem.errors?.length ? problem.errors : [{ pointer: "#", detail: problem.detail || problem.title }];
  for (const fault of faults) {
    const input = fieldAt(fault.pointer, fields);
    const detail = inWords(fault, input);
    const line = made("li");
    if (input) {
      const id = `${input.id}-wrong`;
      if (!byId(id)) {
        input.after(made("p", detail, { class: "wrong", id }));
        input.setAttribute("aria-invalid", "true");
        input.setAttribute("aria-describedby", [input.getAttribute("aria-describedby"), id].filter(Boolean).join(" "));
      }
      const label = document.querySelector(`label[for="${input.id}"]`).textContent;
      line.append(made("a", `${label}: ${detail}`, { href: `#${input.id}` }));
    } else line.textContent = detail;
    byId("faults-list").append(line);
  }
  byId("answer").hidden = true;
  byId("faults").hidden = false;
  byId("faults").focus();
}

// The answer

const at = (document_, path) => path.split("/").reduce((here, key) => here?.[key], document_);

function figures(which, answer) {
  if (which === "lump-sum-timing")
    return answer.options.map((option, i) => [
      `Option ${i + 1}, left after tax`, `options/${i}/totals/wealth_after_tax`, option.outcome === "found" ? undefined : "not possible",
    ]);
  if (which === "warnings")
    return Object.entries(EFFECTS).map(([effect, words]) => [`Points: ${words}`, `counts/${effect}`, String(answer.counts[effect])]);
  return FIGURES[which].filter(([, path]) => at(answer, path) || !/over_deducted|under_deducted/.test(path));
}

function ofOptions(places) {
  const numbers = places.map((place) => place + 1);
  const last = numbers.pop();
  return numbers.length ? `Options ${numbers.join(", ")} and ${last}` : `Option ${last}`;
}

function showPoints(warnings) {
  const points = byId("points");
  points.replaceChildren();
  for (const warning of warnings) {
    const point = made("li");
    const title = made("h4", `${warning.title} `);
    title.append(made("span", EFFECTS[warning.effect] ?? warning.effect, { class: "effect" }));
    const detail = made("p");
    if (warning.options) detail.append(made("strong", `${ofOptions(warning.options)}: `));
    detail.append(warning.detail);
    point.append(title, detail);
    for (const caveat of warning.caveats ?? []) point.append(made("p", caveat, { class: "caution" }));
    points.append(point);
  }
  byId("points-title").hidden = warnings.length === 0;
}

async function showCharts(charts) {
  const box = byId("charts");
  box.replaceChildren();
  for (const chart of charts) {
    const figure = made("figure");
    const picture = made("div", "", { class: "picture" });
    figure.append(picture, made("figcaption", chart.text.join(" ")));
    box.append(figure);
    await globalThis.vegaEmbed(picture, { ...chart.spec, width: "container" }, {
      actions: false, ast: true, defaultStyle: false, expr: expressionInterpreter, logLevel: 1, renderer: "svg", tooltip: false,
    });
    picture.querySelector("svg")?.setAttribute("aria-label", chart.spec.description);
    picture.querySelector("svg")?.setAttribute("role", "img");
    picture.removeAttribute("role");
  }
}

async function show(which, answer) {
  byId("notice").textContent = answer.notice;
  const summary = byId("summary");
  summary.replaceChildren(...(answer.summary ?? []).map((sentence) => made("li", sentence)));
  summary.hidden = !answer.summary?.length;
  byId("figures").replaceChildren(
    ...figures(which, answer).map(([label, path, words]) => {
      const row = made("tr");
      row.append(made("th", label, { scope: "row" }), made("td", words ?? pounds(at(answer, path)), { "data-path": path }));
      return row;
    }),
  );
  showPoints([...(answer.warnings ?? [])]);
  byId("answer").hidden = false;
  await showCharts(answer.charts ?? []);
  byId("answer").dataset.shown = which;
  byId("answer").focus();
}

async function ask(event) {
  event.preventDefault();
  noFaults();
  delete byId("answer").dataset.shown;
  const { which, whole, fields } = asked();
  byId("busy").textContent = "Working it out …";
  byId("ask").disabled = true;
  try {
    const reply = await fetch(`/ask/${which}`, {
      method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(whole),
    });
    const answer = await reply.json();
    if (reply.ok) await show(which, answer);
    else showFaults(answer, fields);
  } catch {
    showFaults({ detail: "There is no answer. Try again in a minute." }, fields);
  } finally {
    byId("busy").textContent = "";
    byId("ask").disabled = false;
  }
}

// Files

function save() {
  const { household: kept } = household(new Map());
  const link = made("a", "", {
    href: URL.createObjectURL(new Blob([JSON.stringify({ household: kept }, null, 2)], { type: "application/json" })),
    download: "household.json",
  });
  link.click();
  URL.revokeObjectURL(link.href);
}

// Takes what the page has a field for, and returns whether that is all there is.
function fill(kept) {
  const rest = structuredClone(kept);
  byId("couple").checked = rest.people.length > 1;
  people();
  rest.people.forEach((each, place) => {
    for (const [name, , kind, path] of PERSON) {
      const [key, ...inner] = path.split("/");
      const list = /^(\w+)\[(\w+)\]$/.exec(key);
      const holder = list ? each[list[1]]?.find((item) => item.kind === list[2]) : inner.slice(0, -1).reduce((here, part) => here?.[part], inner.length ? each[key] : each);
      const last = list ? inner[0] : (inner.at(-1) ?? key);
      const value = holder?.[last];
      if (holder) delete holder[last];
      byId(`person-${place}-${name}`).value = value === undefined ? (Array.isArray(kind) ? kind[0][0] : "") : kind === "percent" ? Number((value * 100).toFixed(4)) : value;
    }
  });
  byId("spending").value = rest.spending?.[0]?.amount ?? "";
  if (rest.spending?.[0]) delete rest.spending[0].amount;
  const left = JSON.stringify(rest, (key, value) => (key === "kind" ? undefined : value));
  return !/:(?!\[|\{)/.test(left);
}

async function open() {
  const [file] = byId("open").files;
  if (!file) return;
  let words = "The household was opened.";
  try {
    const { household: kept } = JSON.parse(await file.text());
    if (!Array.isArray(kept?.people) || kept.people.length < 1 || kept.people.length > 2) throw new TypeError();
    if (!fill(kept)) words = "The household was opened. It holds facts that this page has no field for: they are left out here.";
  } catch {
    words = "This file does not hold a household.";
  }
  byId("file-said").textContent = words;
  byId("open").value = "";
}

// The start

function people() {
  const box = byId("people");
  if (!byId("person-0")) box.append(person(0));
  const couple = byId("couple").checked;
  if (couple && !byId("person-1")) box.append(person(1));
  if (!couple) byId("person-1")?.remove();
}

people();
details();
byId("couple").addEventListener("change", people);
for (const each of document.querySelectorAll("input[name=question]")) each.addEventListener("change", details);
byId("form").addEventListener("submit", ask);
byId("save").addEventListener("click", save);
byId("open").addEventListener("change", open);

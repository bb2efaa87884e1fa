// Converts what is typed when its unit is switched, as serve/units.py does: SI value = (number + offset) * factor.

const NUMBER = /[-+\u2212]?(?:\d+(?:[.,]\d*)?|[.,]\d+)/g;
const BARE = /^\s*[-+\u2212]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:\s*(?:to|\.\.\.?|[-\u2013])\s*[-+\u2212]?(?:\d+(?:[.,]\d*)?|[.,]\d+))?\s*$/i;
const BETWEEN = /(?<=[\d.,])\s*(?:\.\.\.?|[-\u2013])\s*(?=[-+\u2212]?[.,]?\d)/;

export function plain(number, step) {
  const digits = step > 0 ? Math.min(Math.max(0, Math.ceil(-Math.log10(step) - 1e-9)), 6) : 0;
  const text = number.toFixed(digits);
  const short = text.includes(".") ? text.replace(/0+$/, "").replace(/\.$/, "") : text;
  return short === "-0" || short === "" ? "0" : short;
}

export const isBare = (text) => BARE.test(text);

export function converted(text, before, after) {
  if (!isBare(text)) return null;
  let fits = true;
  const found = text.trim().replace(BETWEEN, " to ").replace(NUMBER, (written) => {
    const read = written.replace("\u2212", "-").replace(",", ".");
    const step = 10 ** -(read.split(".")[1] ?? "").length * Math.abs(before.factor / after.factor);
    const number = ((Number(read) + before.offset) * before.factor) / after.factor - after.offset;
    if (after.factor < 0 && number < 0) fits = false;
    return plain(number, step);
  });
  return fits ? found : null;
}

function unitOf(option) {
  if (!option?.dataset.factor) return null;
  return { factor: Number(option.dataset.factor), offset: Number(option.dataset.offset) };
}

function inputsOf(form, name) {
  const named = [name, `${name}.from`, `${name}.to`];
  return [...form.querySelectorAll('input[type="text"]')].filter((each) => named.includes(each.name));
}

const before = new WeakMap(); // select -> the unit that stood there

function unitBefore(select) {
  return before.get(select) ?? [...select.options].find((each) => each.defaultSelected) ?? select.options[0];
}

// What a form says, as pairs of an address; a unit beside which nothing is typed says nothing.
export function typed(form) {
  const pairs = new URLSearchParams();
  for (const [name, value] of new FormData(form)) if (value.trim?.()) pairs.append(name, value);
  for (const select of form.querySelectorAll("select[data-unit-of]")) {
    const name = select.dataset.unitOf;
    const told = [name, `${name}.from`, `${name}.to`].some((each) => pairs.has(each));
    if (!told && select.selectedOptions[0]?.dataset.factor) pairs.delete(`${name}.unit`);
  }
  return pairs;
}

// input -> what was typed and in which unit, what it became, and which unit was left for one that it made no sense in.
// Every unit is reckoned from what was typed: rounded numbers of rounded numbers would drift away from it.
const asTyped = new WeakMap();

function turned(input, from, to) {
  const now = { unit: from, text: input.value, shown: input.value, left: null };
  const known = asTyped.get(input);
  // What stands in a unit that it made no sense in was meant so, unless one goes back, as the arrow keys do.
  const first = known?.shown === input.value && (!known.left || known.left === to) ? known : now;
  if (first.left) return { ...first, left: null };
  const text = first.unit === to ? first.text : converted(first.text, unitOf(first.unit), unitOf(to));
  return text === null ? { ...first, left: from } : { ...first, shown: text };
}

function put(input, record) {
  asTyped.set(input, record);
  input.value = record.shown;
}

// A unit was chosen: what was typed is converted where that makes sense, and otherwise taken as it stands.
export function convert(form, select) {
  const [from, to] = [unitBefore(select), select.selectedOptions[0]];
  if (!unitOf(to)) return; // a word; the number keeps the unit it had
  if (unitOf(from) && from !== to) {
    for (const input of inputsOf(form, select.dataset.unitOf)) put(input, turned(input, from, to));
  }
  before.set(select, to);
}

// A bare number in a field without units beside it gets that of the set, so that it means the same in another one.
export function complete(form, input) {
  if (isBare(input.value)) input.value = `${input.value.trim()} ${input.dataset[form.elements.units.value]}`;
}

// Another set of units was chosen: every field goes along, except where a word or a unit of its own is typed.
export function switched(form, set) {
  for (const select of form.querySelectorAll("select[data-unit-of]")) {
    const wanted = [...select.options].find((each) => each.value === select.dataset[set]);
    const was = select.selectedOptions[0];
    if (!wanted || !unitOf(was) || wanted.selected) continue;
    const inputs = inputsOf(form, select.dataset.unitOf);
    const records = inputs.map((each) => (each.value.trim() ? turned(each, was, wanted) : null));
    if (records.some((each) => each?.left)) continue;
    inputs.forEach((each, i) => records[i] && put(each, records[i]));
    wanted.selected = true;
    before.set(select, wanted);
  }
}

// What was typed, chosen or switched before this file ran: the units are converted now, as serve/typed.py would do it,
// and whoever asks learns whether anything differs from what was sent. A number that was touched too keeps its unit.
export function caughtUp(form) {
  for (const select of form.querySelectorAll("select[data-unit-of]")) {
    const untouched = inputsOf(form, select.dataset.unitOf).every((each) => each.value === each.defaultValue);
    if (select.selectedOptions[0] !== unitBefore(select) && untouched) convert(form, select);
  }
  const set = form.querySelector('input[name="units"]:checked');
  if (set && !set.defaultChecked) switched(form, set.value);
  return [...form.querySelectorAll("input, select, textarea")].some(differs);
}

function differs(control) {
  if (control.type === "hidden" || control.type === "file") return false;
  if (control.tagName === "SELECT") {
    const served = [...control.options].find((each) => each.defaultSelected) ?? control.options[0];
    return control.selectedOptions[0] !== served;
  }
  return control.checked !== control.defaultChecked || control.value !== control.defaultValue;
}

// The main page as one types: asks /live, shows what changed, keeps the address true. Without this file the form works.
import { caughtUp, complete, convert, switched, typed } from "./units.js";

const form = document.getElementById("reading");
const result = document.getElementById("result");
const said = document.getElementById("said");
const linkState = document.getElementById("link-state");
const problems = document.getElementById("problems");
const TYPING = 250; // ms without a key before the server is asked
const PATIENCE = 15000; // ms for an answer
const LONGEST_WAIT = 10000; // ms between two tries

let wanted = 0; // the number of the last request; an older answer is not shown
let running = null;
let timer = 0;
let failures = 0;
const opened = new Map(); // what the reader opened or closed, by its key

// What a form without this script needs to know what was converted would only convert twice here.
for (const each of form.querySelectorAll('input[name$=".was"]')) each.remove();

function soon() {
  clearTimeout(timer);
  timer = setTimeout(ask, TYPING);
}

async function ask({ then = "" } = {}) {
  clearTimeout(timer);
  running?.abort();
  running = new AbortController();
  const mine = ++wanted;
  const pairs = typed(form);
  history.replaceState(null, "", `/?${pairs}`); // kept here first, whatever becomes of the connection
  result.setAttribute("aria-busy", "true");
  const late = setTimeout(() => running?.abort("late"), PATIENCE);
  try {
    const answer = await fetch(`/live?${pairs}`, { signal: running.signal, headers: { accept: "application/json" } });
    if (mine !== wanted) return;
    if (answer.status === 401 || new URL(answer.url).pathname === "/enter") return tokenWanted();
    if (answer.status === 414) return tooLong();
    if (!answer.ok) throw new Error(`status ${answer.status}`);
    const found = await answer.json();
    if (mine === wanted) put(found, then);
  } catch (error) {
    if (mine === wanted) lost();
  } finally {
    clearTimeout(late);
  }
}

function put(found, then) {
  failures = 0;
  linkState.textContent = "";
  history.replaceState(null, "", `/?${found.query}`);
  document.getElementById("save").href = `/reading.yaml?${found.query}`;
  document.title = `${found.said} - twogauge`;
  if (said.textContent !== found.said) said.textContent = found.said;
  for (const field of form.querySelectorAll("[data-field]")) beside(field, found);
  if (then === "verdict" || problems.childElementCount) problems.innerHTML = found.problems;
  const focused = focusInResult();
  result.innerHTML = found.result; // made by the server from escaped templates
  result.removeAttribute("aria-busy");
  for (const each of result.querySelectorAll("details[data-key]")) {
    if (opened.has(each.dataset.key)) each.open = opened.get(each.dataset.key);
  }
  if (then) goTo(document.getElementById(then) ?? document.getElementById("verdict"));
  else if (focused) giveBack(focused);
}

function beside(field, found) {
  const name = field.dataset.field;
  const sentences = found.troubles[name] ?? [];
  const error = document.getElementById(`e-${name}`);
  const normal = document.getElementById(`n-${name}`);
  const text = sentences.join(" ");
  if (error && error.textContent !== text) error.textContent = text;
  if (normal && normal.textContent !== (found.normal[name] ?? "")) normal.textContent = found.normal[name] ?? "";
  normal?.classList.toggle("off", /; this is (?!normal$)/.test(normal.textContent));
  field.classList.toggle("wrong", sentences.length > 0);
  const control = document.getElementById(`f-${name}`);
  if (sentences.length) control?.setAttribute("aria-invalid", "true");
  else control?.removeAttribute("aria-invalid");
  if (name.startsWith("check.")) field.hidden = !control.value && !found.checks.includes(name);
}

function lost() {
  failures += 1;
  linkState.textContent = "No connection. What you typed is kept here and in the address; trying again.";
  timer = setTimeout(ask, Math.min(LONGEST_WAIT, 500 * 2 ** failures));
}

function tooLong() {
  failures = 0;
  linkState.textContent = "This is more than an address can hold. Shorten what is typed; the last answer still stands.";
}

function tokenWanted() {
  const link = document.createElement("a");
  link.href = `/enter?back=${encodeURIComponent(location.pathname + location.search)}`;
  link.textContent = "Show the token again";
  linkState.replaceChildren("The server was started anew. What you typed is kept. ", link);
}

// -- focus -------------------------------------------------------------------------------------------------------

function focusInResult() {
  const here = document.activeElement;
  if (!here || !result.contains(here)) return null;
  return { key: here.closest("details[data-key]")?.dataset.key, summary: here.tagName === "SUMMARY" };
}

function giveBack(focused) {
  const again = [...result.querySelectorAll("details[data-key]")].find((each) => each.dataset.key === focused.key);
  const target = again?.querySelector("summary") ?? document.getElementById("next") ?? document.getElementById("verdict");
  target.tabIndex = target.tagName === "SUMMARY" ? 0 : -1;
  target.focus({ preventScroll: true });
}

function goTo(target) {
  target.tabIndex = -1;
  target.focus({ preventScroll: true });
  target.scrollIntoView();
}

function uncover(target) {
  for (let each = target.closest("details"); each; each = each.parentElement.closest("details")) each.open = true;
  target.closest("[hidden]")?.removeAttribute("hidden");
}

// -- what people do ----------------------------------------------------------------------------------------------

form.addEventListener("input", soon);

form.addEventListener("change", (event) => {
  const target = event.target;
  if (target.matches("select[data-unit-of]")) convert(form, target);
  if (target.matches("input[data-completed]")) complete(form, target);
  if (target.name === "units") switched(form, target.value);
  ask();
});

form.addEventListener("submit", (event) => {
  const pressed = event.submitter;
  // Leads to another address, or brings another control: as without this script.
  if (pressed?.hasAttribute("formaction") || pressed?.name === "without") return;
  event.preventDefault();
  if (pressed?.name) answered(pressed.name, pressed.value);
  else ask({ then: "verdict" });
});

function answered(name, value) {
  const control = document.getElementById(`f-${name}`);
  control.value = value;
  const seen = document.getElementById("seen");
  if (name.startsWith("check.")) {
    seen.hidden = false;
    seen.append(control.closest(".field"));
  } else {
    uncover(control);
  }
  ask({ then: "next" }); // where it says what the answer did
}

document.addEventListener("click", (event) => {
  const summary = event.target.closest("summary");
  const key = summary?.parentElement.dataset.key;
  if (key) opened.set(key, !summary.parentElement.open);
  const link = event.target.closest('a[href^="#f-"]');
  const target = link && document.getElementById(link.hash.slice(1));
  if (target) {
    event.preventDefault();
    uncover(target);
    target.focus();
  }
});

window.addEventListener("online", () => failures && ask());

if (caughtUp(form)) ask();

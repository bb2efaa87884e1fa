// The pages of commands: units convert in place, a log is judged and drawn as its rows are typed, the address holds what
// is typed, and what no address can hold is kept in this browser until it is forgotten. Without this file the form does
// its work when it is sent.
import { offerRows } from "./rows.js";
import { caughtUp, convert, isBare, switched, typed } from "./units.js";

const form = document.getElementById("asked");
const result = document.getElementById("result");
const said = document.getElementById("said");
const TYPING = 500; // ms without a key before the server is asked
const PATIENCE = 20000; // ms for an answer
const LONGEST_ADDRESS = 6000; // characters, as in pages/texts.py; a longer text is kept in this browser alone

let wanted = 0; // the number of the last request; an older answer is not shown
let timer = 0;

for (const each of form?.querySelectorAll('input[name$=".was"]') ?? []) each.value = "";

async function ask() {
  const number = ++wanted;
  const body = new FormData(form);
  for (const each of form.querySelectorAll('input[type="file"]')) body.delete(each.name);
  try {
    const answer = await fetch(form.dataset.live, { method: "POST", body, signal: AbortSignal.timeout(PATIENCE) });
    if (number !== wanted || !answer.ok) return;
    const text = await answer.text();
    if (number !== wanted) return;
    result.innerHTML = text; // made by this server, which escapes what was typed
    const now = result.querySelector(":scope > h2")?.textContent.trim() ?? "";
    if (said.textContent !== now) said.textContent = now;
  } catch {
    if (number === wanted) said.textContent = "No connection; what is typed stays here. Press the button to try again.";
  }
}

// The address holds what is typed before it is sent, so that a reload or a bookmark finds it.
function remember() {
  const pairs = typed(form);
  for (const select of form.querySelectorAll("select[data-unit-of]")) {
    const name = select.dataset.unitOf;
    const value = pairs.get(name) ?? "";
    if (isBare(value)) pairs.set(name, `${value.trim()} ${select.value}`);
    if (!pairs.has(`${name}.from`) && !pairs.has(`${name}.to`)) pairs.delete(`${name}.unit`);
  }
  for (const text of form.querySelectorAll("[data-aside]")) pairs.delete(text.name);
  if (`${pairs}`.length > LONGEST_ADDRESS) for (const text of kept) pairs.delete(text.name);
  history.replaceState(null, "", `${location.pathname}?${pairs}`);
}

function now() {
  clearTimeout(timer);
  remember();
  if (form.dataset.live) ask();
}

function keep(text) {
  try {
    if (text.value) localStorage.setItem(text.dataset.keep, text.value);
    else localStorage.removeItem(text.dataset.keep);
  } catch {
    // a browser that keeps nothing
  }
}

// An entry that stands in the sheet now is not wanted a second time.
const added = document.querySelector("[data-added]")?.dataset.added;
try {
  for (const key of added ? Object.keys(localStorage) : []) {
    if (key.startsWith(added) || key === `${location.pathname} at`) localStorage.removeItem(key);
  }
} catch {
  // a browser that keeps nothing
}

const kept = [...document.querySelectorAll("[data-keep]")];
const told = new URLSearchParams(location.search); // an empty text that it names is wanted empty
let restored = false;
for (const text of kept) {
  try {
    const before = localStorage.getItem(text.dataset.keep);
    if (!text.value && before && !told.has(text.name)) {
      text.value = before;
      restored = true;
      for (let each = text.closest("details"); each; each = each.parentElement.closest("details")) each.open = true;
    }
  } catch {
    // a browser that keeps nothing
  }
  grow(text);
  keep(text);
  text.addEventListener("input", () => keep(text));
}

// A sheet that was sent is in this browser by now: to go back to it, or to load it anew, needs no form sent a second time.
const sent = document.getElementById("f-sheet");
try {
  const isKept = sent?.value && sent.dataset.keep && localStorage.getItem(sent.dataset.keep) === sent.value;
  if (isKept && sent.form.action.endsWith(location.pathname)) history.replaceState(null, "", location.pathname);
} catch {
  // a browser that keeps nothing
}

// A sheet only grows, at its end: what another tab added to it, or this one before it went back, counts here too.
function grow(text) {
  const note = document.querySelector("[data-grown]");
  if (!note || text.name !== "sheet" || !text.value) return;
  try {
    const there = localStorage.getItem(text.dataset.keep) ?? "";
    if (!there.startsWith(`${text.value.trimEnd()}\n`) || there.trimEnd() === text.value.trimEnd()) return;
    text.value = there;
  } catch {
    return; // a browser that keeps nothing
  }
  note.hidden = false;
  note.querySelector("button").onclick = () => text.form.querySelector('button[name="did"][value=""]').click();
}

for (const text of kept.filter((each) => each.name === "sheet" && each.form)) {
  addEventListener("storage", () => grow(text));
  for (const event of ["pageshow", "focus"]) addEventListener(event, () => grow(text));
  text.form.addEventListener("submit", () => grow(text));
}

if (form) offerRows(form);
form?.addEventListener("change", (event) => {
  const { target } = event;
  if (target.matches?.("select[data-unit-of]")) convert(form, target);
  if (target.name === "units") switched(form, target.value);
  now();
});
form?.addEventListener("input", () => {
  clearTimeout(timer);
  timer = setTimeout(now, TYPING);
});
if (form && caughtUp(form)) now();
else if (form && !location.search && form.querySelector("[data-aside]")?.value) remember(); // it came as a body

// What another page keeps is offered here, and stays there whatever becomes of it.
for (const offer of document.querySelectorAll("[data-offer]")) {
  const into = document.getElementById(offer.dataset.into);
  let there = null;
  try {
    there = localStorage.getItem(offer.dataset.offer);
  } catch {
    // a browser that keeps nothing
  }
  offer.hidden = !there || there === into.value;
  offer.querySelector("button").addEventListener("click", () => {
    into.value = there;
    into.closest("details").open = true;
    into.dispatchEvent(new Event("input", { bubbles: true }));
    offer.hidden = true;
    into.focus();
  });
}

// A kept sheet is shown as it was before the page was left.
const show = document.querySelector("[data-show]");
if (show && restored && document.getElementById("f-sheet").value) show.click();
for (const button of document.querySelectorAll("[data-forget]")) {
  button.hidden = false;
  button.addEventListener("click", () => {
    for (const text of kept) {
      text.value = "";
      keep(text);
    }
    location.assign(location.pathname);
  });
}

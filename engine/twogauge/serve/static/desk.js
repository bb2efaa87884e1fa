// The pages of commands: units convert in place, a log is judged and drawn as its rows are typed, and pasted texts are
// kept in this browser until they are forgotten. Without this file the form does its work when it is sent.
import { convert, switched } from "./units.js";

const form = document.getElementById("asked");
const result = document.getElementById("result");
const said = document.getElementById("said");
const TYPING = 500; // ms without a key before the server is asked
const PATIENCE = 20000; // ms for an answer

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
    said.textContent = result.querySelector("h2")?.textContent ?? "";
  } catch {
    if (number === wanted) said.textContent = "No connection; what is typed stays here. Press the button to try again.";
  }
}

function keep(text) {
  try {
    if (text.value) localStorage.setItem(text.dataset.keep, text.value);
    else localStorage.removeItem(text.dataset.keep);
  } catch {
    // a browser that keeps nothing
  }
}

const kept = [...document.querySelectorAll("textarea[data-keep]")];
let restored = false;
for (const text of kept) {
  try {
    const before = localStorage.getItem(text.dataset.keep);
    if (!text.value && before) {
      text.value = before;
      restored = true;
    }
  } catch {
    // a browser that keeps nothing
  }
  keep(text);
  text.addEventListener("input", () => keep(text));
}

form?.addEventListener("change", (event) => {
  const { target } = event;
  if (target.matches?.("select[data-unit-of]")) convert(form, target);
  if (target.name === "units") switched(form, target.value);
  if (form.dataset.live) ask();
});
if (form?.dataset.live) {
  form.addEventListener("input", () => {
    clearTimeout(timer);
    timer = setTimeout(ask, TYPING);
  });
  if (restored) ask();
}
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

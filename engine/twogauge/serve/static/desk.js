// The pages of commands: units convert in place. Without this file the form does it when it is sent.
import { convert, switched } from "./units.js";

const form = document.getElementById("asked");

for (const each of form?.querySelectorAll('input[name$=".was"]') ?? []) each.value = "";
form?.addEventListener("change", (event) => {
  const { target } = event;
  if (target.matches?.("select[data-unit-of]")) convert(form, target);
  if (target.name === "units") switched(form, target.value);
});

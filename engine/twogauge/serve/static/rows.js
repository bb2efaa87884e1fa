// Adds rows to a log through fields for numbers: a telephone shows digits for them, and a glove finds the button.

export function offerRows(form) {
  for (const helper of form.querySelectorAll("[data-rows]")) {
    const log = document.getElementById(helper.dataset.rows);
    const numbers = [...helper.querySelectorAll("input")];
    const add = () => {
      const empty = numbers.slice(0, 2).find((each) => !each.value.trim()); // time and pressure; the rest may be missing
      if (empty) return empty.focus();
      const cells = numbers
        .filter((each) => each.value.trim())
        .map((each) => `${each.value.trim().replace(",", ".")} ${each.parentElement.querySelector("select").value}`);
      log.value = `${log.value.trimEnd()}\n${cells.join(", ")}`.trimStart();
      log.scrollTop = log.scrollHeight;
      for (const each of numbers) each.value = "";
      log.dispatchEvent(new Event("input", { bubbles: true }));
      numbers[0].focus();
    };
    helper.hidden = false;
    for (const kind of ["input", "change"]) helper.addEventListener(kind, (event) => event.stopPropagation());
    helper.querySelector("button").addEventListener("click", add);
    helper.addEventListener("keydown", (event) => {
      if (event.key !== "Enter" || event.target.tagName !== "INPUT") return;
      event.preventDefault(); // it would send the form
      add();
    });
  }
}

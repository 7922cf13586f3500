// The list as a table to be edited; the text of the form stays what is sent, and is all there is without this script.

const text = document.getElementById("rows");
const table = document.querySelector("#list-rows tbody");
const row = document.getElementById("list-row");
const state = document.getElementById("list-state");
const columns = ["family", "size", "length_mm", "count", "slots"];

const fields = (line) => [...line.matchAll(/("([^"]*)"|[^,]*)(,|$)/g)].map((match) => match[2] ?? match[1]);

function fill() {
  const [head, ...lines] = text.value.split("\n").filter((line) => line.trim());
  const names = head ? fields(head).map((name) => name.trim().toLowerCase()) : columns;
  table.replaceChildren();
  for (const line of lines) {
    const cells = fields(line);
    add(Object.fromEntries(names.map((name, k) => [name, (cells[k] ?? "").trim()])), false);
  }
  count();
}

function add(values, focused) {
  const made = row.content.firstElementChild.cloneNode(true);
  for (const field of made.querySelectorAll("[data-column]")) {
    const value = values[field.dataset.column];
    if (value !== undefined && value !== "") field.value = value;
  }
  table.append(made);
  if (focused) made.querySelector("select").focus();
}

function write() {
  const lines = [...table.rows].map((one) =>
    columns.map((name) => one.querySelector(`[data-column="${name}"]`).value.replaceAll(",", name === "length_mm" ? "." : " ").trim()).join(","),
  );
  text.value = `${[columns.join(","), ...lines].join("\n")}\n`;
  count();
}

function count() {
  [...table.rows].forEach((one, k) => {
    const button = one.querySelector(".list-remove");
    button.setAttribute("aria-label", `${button.dataset.words} ${k + 1}`);
    for (const field of one.querySelectorAll("[data-column]")) {
      field.dataset.name ??= field.getAttribute("aria-label");
      field.setAttribute("aria-label", `${field.dataset.name} ${k + 1}`);
    }
  });
  const pieces = [...table.querySelectorAll('[data-column="count"]')].reduce((sum, field) => sum + (Number(field.value || 1) || 0), 0);
  state.textContent = state.dataset.count.replace("{rows}", table.rows.length).replace("{count}", pieces);
}

table.addEventListener("input", write);
table.addEventListener("change", write);
table.addEventListener("click", (event) => {
  const button = event.target.closest(".list-remove");
  if (!button) return;
  const next = button.closest("tr").nextElementSibling?.querySelector("select") ?? document.getElementById("list-add");
  button.closest("tr").remove();
  write();
  next.focus();
});
document.getElementById("list-add").addEventListener("click", () => { add({}, true); write(); });
text.addEventListener("change", fill);
document.getElementById("list-rows").hidden = false;
fill();

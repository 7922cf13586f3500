// Chosen or dropped photos go off at once, with progress; without this script the form still works.

const form = document.getElementById("upload");
const input = document.getElementById("photos");
const drop = document.getElementById("drop");
const state = document.getElementById("upload-state");
const words = document.getElementById("upload-words");
const progress = document.getElementById("upload-progress");
const problem = document.getElementById("upload-problem");

const filled = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");

function complain(text) {
  state.hidden = true;
  problem.textContent = text;
  problem.hidden = false;
  input.value = "";
}

function refusal(files) {
  const { mostMb, mostPhotos, megabyte, tooLarge, tooMany } = form.dataset;
  if (files.length > Number(mostPhotos)) return filled(tooMany, { count: files.length, most: mostPhotos });
  const large = files.find((file) => file.size > Number(mostMb) * Number(megabyte));
  if (!large) return null;
  return filled(tooLarge, { name: large.name, size: Math.round(large.size / Number(megabyte)), most: mostMb });
}

function send(files) {
  if (!files.length) return;
  const why = refusal(files);
  if (why) return complain(why);
  problem.hidden = true;
  const body = new FormData(form);
  body.delete("photos");
  for (const file of files) body.append("photos", file, file.name);
  const request = new XMLHttpRequest();
  request.open("POST", form.action);
  request.setRequestHeader("Accept", "application/json");
  request.upload.addEventListener("progress", (event) => {
    if (event.lengthComputable) progress.value = (100 * event.loaded) / event.total;
  });
  request.addEventListener("load", () => {
    if (request.status < 400) return location.assign(request.responseURL);
    let said = form.dataset.lost;
    try { said = JSON.parse(request.responseText).error.message; } catch { /* no JSON: the general sentence */ }
    return complain(said);
  });
  request.addEventListener("error", () => complain(form.dataset.lost));
  words.textContent = filled(form.dataset.sending, { name: files.map((file) => file.name).join(", ") });
  state.hidden = false;
  progress.value = 0;
  request.send(body);
}

input.addEventListener("change", () => send([...input.files]));
for (const name of ["dragenter", "dragover"]) {
  drop.addEventListener(name, (event) => { event.preventDefault(); drop.classList.add("over"); });
}
drop.addEventListener("dragleave", () => drop.classList.remove("over"));
drop.addEventListener("drop", (event) => {
  event.preventDefault();
  drop.classList.remove("over");
  send([...event.dataTransfer.files]);
});
for (const name of ["dragover", "drop"]) window.addEventListener(name, (event) => event.preventDefault());

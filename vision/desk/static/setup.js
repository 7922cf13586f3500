// Setting up: tells how far it is and shows the page anew when it is done; takes photos with this computer's camera.

const doing = document.getElementById("doing");
const words = document.getElementById("doing-words");
const bar = document.getElementById("doing-bar");
const form = document.getElementById("take");
const filled = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");
let stream = null;
let failures = 0;

async function ask() {
  try {
    const now = await (await fetch("/setup/doing")).json();
    failures = 0;
    if (!now.of) return location.reload();
    const said = filled(doing.dataset.words, now);
    if (words.textContent !== said) words.textContent = said; // a screen reader hears changes only
    bar.value = (100 * (now.at - 0.5)) / now.of;
  } catch {
    failures += 1;
    if (failures > 3) words.textContent = doing.dataset.lost;
  }
  return setTimeout(ask, 500);
}

if (!doing.hidden) ask();

function complain(text) {
  const problem = document.getElementById("take-problem");
  problem.textContent = text;
  problem.hidden = !text;
}

function why(error) {
  if (error.name === "NotAllowedError" || error.name === "SecurityError") return form.dataset.denied;
  if (error.name === "NotFoundError" || error.name === "OverconstrainedError") return form.dataset.missing;
  if (error.name === "NotReadableError" || error.name === "AbortError") return form.dataset.inUse;
  return form.dataset.lost;
}

function shut() {
  for (const track of stream?.getTracks() ?? []) track.stop();
  stream = null;
  document.getElementById("here").hidden = true;
  document.getElementById("open").hidden = false;
}

async function open() {
  complain("");
  try {
    stream = await navigator.mediaDevices.getUserMedia({ video: { width: { ideal: 4096 }, height: { ideal: 2160 } }, audio: false });
  } catch (error) {
    return complain(why(error));
  }
  stream.getVideoTracks()[0].addEventListener("ended", () => { shut(); complain(form.dataset.unplugged); });
  const video = document.getElementById("video");
  video.srcObject = stream;
  document.getElementById("here").hidden = false;
  document.getElementById("open").hidden = true;
  return video.play();
}

function picture() {
  const video = document.getElementById("video");
  const canvas = document.createElement("canvas");
  canvas.width = video.videoWidth;
  canvas.height = video.videoHeight;
  canvas.getContext("2d").drawImage(video, 0, 0);
  return new Promise((done) => { canvas.toBlob(done, "image/jpeg", 0.95); });
}

// The full photo where the camera gives one, else what the picture shows.
async function photo() {
  const patience = new Promise((_, late) => { setTimeout(late, 4000); });
  try {
    return await Promise.race([new ImageCapture(stream.getVideoTracks()[0]).takePhoto(), patience]);
  } catch {
    return picture();
  }
}

async function shoot() {
  const button = document.getElementById("shoot");
  button.disabled = true;
  const body = new FormData(form);
  body.delete("photos");
  try {
    body.append("photos", await photo(), `camera-${Date.now()}.jpg`);
    const answer = await fetch(form.action, { method: "POST", body, headers: { Accept: "application/json" } });
    if (!answer.ok) throw new Error((await answer.json()).error?.message);
    location.reload();
  } catch (error) {
    complain(error.message || form.dataset.lost);
    button.disabled = false;
  }
}

if (form) {
  if (navigator.mediaDevices?.getUserMedia) document.getElementById("open").hidden = false;
  document.getElementById("open").addEventListener("click", open);
  document.getElementById("shut").addEventListener("click", shut);
  document.getElementById("shoot").addEventListener("click", shoot);
}

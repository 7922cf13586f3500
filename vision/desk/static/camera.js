// The live camera: shows it, sends a frame as soon as the last one is judged, tells what the coach says, takes the photo.
// Whatever happens to the camera, the run and its photos live on the desk, and the run goes on when the camera is back.

const live = document.getElementById("live");
const video = document.getElementById("video");
const marks = document.getElementById("marks");
const flash = document.getElementById("flash");
const said = document.getElementById("say");
const problem = document.getElementById("live-problem");
const step = document.getElementById("step");
const pace = document.getElementById("pace");
const checks = document.getElementById("checks");
const wishes = document.getElementById("wishes");
const device = document.getElementById("device");
const photos = document.getElementById("photos");
const together = document.getElementById("together");
const buttons = Object.fromEntries(["start", "shoot", "stop", "finish", "anew"].map((id) => [id, document.getElementById(id)]));
const auto = document.getElementById("auto");

const words = live.dataset;
const filled = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");
const FRAME_PX = 1920; // a frame is sent no larger; the photo is
const SLOWEST_MS = 180; // at most so many looks a second
const KEPT = "flutegauge-run";
let stream = null;
let run = null;
let finer = 1;
let taking = false;
let small = false;
let turn = 0; // counts starts, so that an old loop ends

const show = (element, text) => { if (element.textContent !== text) element.textContent = text; };
function complain(text) { problem.hidden = !text; show(problem, text || ""); }

async function ask(path, form) {
  const body = form ?? new FormData();
  body.set("token", words.token);
  const answer = await fetch(path, { method: "POST", body, headers: { Accept: "application/json" } });
  const made = await answer.json();
  if (!answer.ok) throw Object.assign(new Error(made.error?.message ?? words.lost), { told: true });
  return made;
}

async function begin() {
  if (run) return;
  run = await ask("/camera/runs", new FormData(wishes));
  sessionStorage.setItem(KEPT, run.id);
  lock(true);
  list();
}

function lock(on) {
  for (const field of wishes.elements) if (field !== device) field.disabled = on;
  buttons.anew.hidden = !on;
}

function why(error) {
  if (error.name === "NotAllowedError" || error.name === "SecurityError") return words.denied;
  if (error.name === "NotFoundError" || error.name === "OverconstrainedError") return words.missing;
  if (error.name === "NotReadableError" || error.name === "AbortError") return words.inUse;
  return error.told ? error.message : words.lost;
}

async function start() {
  if (!navigator.mediaDevices?.getUserMedia) return complain(words.noSupport);
  complain("");
  buttons.start.disabled = true;
  show(said, words.opening);
  try {
    const wanted = { width: { ideal: 4096 }, height: { ideal: 2160 } };
    if (device.value) wanted.deviceId = { exact: device.value };
    stream = await navigator.mediaDevices.getUserMedia({ video: wanted, audio: false });
    await begin();
  } catch (error) {
    halt(why(error));
    return undefined;
  }
  const track = stream.getVideoTracks()[0];
  track.addEventListener("ended", () => { if (stream) halt(words.unplugged); });
  video.srcObject = stream;
  await video.play().catch(() => {});
  await devices();
  await measure(track);
  buttons.stop.disabled = false;
  buttons.shoot.disabled = false;
  turn += 1;
  return watch(turn, track);
}

async function devices() {
  const all = (await navigator.mediaDevices.enumerateDevices()).filter((one) => one.kind === "videoinput");
  const chosen = device.value;
  device.replaceChildren(new Option(words.any, ""), ...all.map((one, k) => new Option(one.label || `${k + 1}`, one.deviceId)));
  device.value = all.some((one) => one.deviceId === chosen) ? chosen : "";
}

// How large the picture is, and how much finer a photo is than a frame.
async function measure(track) {
  const width = video.videoWidth || track.getSettings().width || 0;
  const height = video.videoHeight || track.getSettings().height || 0;
  let photo = width;
  try {
    const able = await within(new ImageCapture(track).getPhotoCapabilities(), 2000);
    photo = Math.max(width, able.imageWidth?.max ?? 0);
  } catch { /* no photos apart from frames */ }
  finer = width ? photo / Math.min(width, FRAME_PX) : 1;
  document.querySelector(".live-frame").style.aspectRatio = width ? `${width} / ${height}` : "";
  marks.setAttribute("viewBox", `0 0 ${width || 16} ${height || 9}`);
  small = photo < Number(words.leastWidth);
  if (small) complain(filled(words.small, { width, height, scale: words.leastScale, needed: words.leastWidth }));
}

function halt(text) {
  turn += 1;
  const old = stream;
  stream = null;
  for (const track of old?.getTracks() ?? []) track.stop();
  video.srcObject = null;
  draw([]);
  buttons.start.disabled = false;
  buttons.stop.disabled = buttons.shoot.disabled = true;
  show(said, words.waiting);
  complain(text || "");
}

function grab(most, quality) {
  const shrink = Math.min(1, most / Math.max(video.videoWidth, video.videoHeight));
  const canvas = document.createElement("canvas");
  canvas.width = Math.round(video.videoWidth * shrink);
  canvas.height = Math.round(video.videoHeight * shrink);
  canvas.getContext("2d").drawImage(video, 0, 0, canvas.width, canvas.height);
  return new Promise((done) => canvas.toBlob(done, "image/jpeg", quality));
}

const pause = (ms) => new Promise((done) => setTimeout(done, ms));

// Some cameras never answer what they are asked.
const within = (promise, ms) => Promise.race([promise, pause(ms).then(() => { throw new Error("late"); })]);

async function watch(mine, track) {
  let lost = 0;
  while (mine === turn && stream) {
    const began = performance.now();
    try {
      if (!taking && video.videoWidth && run) {
        const form = new FormData();
        form.set("photos", await grab(FRAME_PX, 0.85), "frame.jpg");
        form.set("finer", finer.toFixed(3));
        const told = await ask(`/camera/runs/${run.id}/frame`, form);
        if (mine !== turn) return;
        if (lost) complain("");
        lost = 0;
        tell(told);
        if (told.shoot && auto.checked && !small && !taking) await take(track);
      }
    } catch (error) {
      lost += 1;
      if (lost > 2) complain(error.told ? error.message : words.lost);
      await pause(700);
    }
    await pause(Math.max(20, SLOWEST_MS - (performance.now() - began)));
  }
}

function tell(told) {
  show(said, told.say);
  show(step, told.step);
  show(pace, filled(words.slow, { ms: told.ms }));
  for (const one of told.checks) {
    const item = checks.querySelector(`[data-check="${one.name}"]`);
    if (!item) continue;
    item.dataset.state = one.state;
    show(item.querySelector(".state"), checks.dataset[one.state]);
    show(item.querySelector(".how"), one.words);
  }
  draw(told.axis);
}

function draw(axis) {
  const { width, height } = marks.viewBox.baseVal ?? { width: 16, height: 9 };
  const points = axis.map(([x, y]) => [x * width, y * height]);
  const d = points.map(([x, y], k) => `${k ? "L" : "M"}${x.toFixed(1)} ${y.toFixed(1)}`).join("");
  for (const path of marks.querySelectorAll("path")) path.setAttribute("d", d);
  for (const tip of marks.querySelectorAll("circle")) {
    tip.setAttribute("r", points.length ? width / 60 : 0);
    if (points.length) { tip.setAttribute("cx", points[0][0]); tip.setAttribute("cy", points[0][1]); }
  }
}

// The photo at the camera's full size where it can; else the video's frame.
async function picture(track) {
  try {
    const capture = new ImageCapture(track);
    const able = await within(capture.getPhotoCapabilities(), 2000);
    const wish = able.imageWidth?.max ? { imageWidth: able.imageWidth.max, imageHeight: able.imageHeight.max } : {};
    const blob = await within(capture.takePhoto(wish), 4000);
    if (blob?.type === "image/jpeg" || blob?.type === "image/png") return blob;
  } catch { /* the frame then */ }
  return grab(Infinity, 0.97);
}

async function take(track) {
  if (taking || !run) return;
  taking = true;
  buttons.shoot.disabled = buttons.finish.disabled = true; // what is on its way belongs to the run
  flash.hidden = false;
  try {
    const form = new FormData();
    form.set("photos", await picture(track), "photo.jpg");
    run = await ask(`/camera/runs/${run.id}/photo`, form);
    show(said, filled(run.complete ? words.takenDone : words.taken, { number: run.taken, wanted: run.wanted }));
    list();
    follow();
  } catch (error) {
    complain(filled(words.notKept, { why: error.told ? error.message : words.lost }));
  }
  flash.hidden = true;
  await pause(1200); // long enough to hear that it was taken
  taking = false;
  buttons.shoot.disabled = !stream;
  buttons.finish.disabled = false;
}

let following = false;
async function follow() {
  if (following) return;
  following = true;
  while (run?.busy) {
    await pause(1000);
    const known = run;
    try {
      const answer = await fetch(`/camera/runs/${run.id}`, { headers: { Accept: "application/json" } });
      const made = answer.ok ? await answer.json() : null;
      if (made && run === known) { run = made; list(); } // a photo kept meanwhile knows better than an answer asked for before it
    } catch { await pause(2000); }
  }
  following = false;
}

function list() {
  document.getElementById("none-yet").hidden = Boolean(run?.taken);
  photos.replaceChildren(...(run?.photos ?? []).map((one) => {
    const item = document.createElement("li");
    item.append(one.words);
    if (one.reading) item.append(" ", link(`/readings/${one.reading}`, filled(words.openReading, { number: one.reading })));
    return item;
  }));
  const last = run?.combined ? [link(`/combined/${run.combined}`, filled(words.combined, { number: run.combined }))] : [];
  const waits = run?.combining && run.busy ? words.combining : "";
  together.replaceChildren(waits, ...last, ...(run?.problems ?? []).map((line) => Object.assign(document.createElement("span"), { className: "problem", textContent: line })));
  buttons.finish.hidden = !run || run.plan === "one" || run.taken < 2 || run.combining;
}

function link(href, text) {
  return Object.assign(document.createElement("a"), { href, textContent: text });
}

buttons.start.addEventListener("click", start);
buttons.stop.addEventListener("click", () => halt(""));
buttons.shoot.addEventListener("click", () => { if (stream) take(stream.getVideoTracks()[0]); });
buttons.finish.addEventListener("click", async () => {
  try { run = await ask(`/camera/runs/${run.id}/finish`); list(); follow(); } catch (error) { complain(error.told ? error.message : words.lost); }
});
buttons.anew.addEventListener("click", () => {
  sessionStorage.removeItem(KEPT);
  run = null;
  lock(false);
  list();
  if (stream) begin().catch((error) => complain(why(error)));
});
device.addEventListener("change", () => { if (stream) { halt(""); start(); } });

// A run that this window had begun goes on, whatever happened to the page.
const before = sessionStorage.getItem(KEPT);
if (before) {
  try {
    const answer = await fetch(`/camera/runs/${before}`, { headers: { Accept: "application/json" } });
    if (answer.ok) { run = await answer.json(); lock(true); list(); follow(); } else sessionStorage.removeItem(KEPT);
  } catch { /* the desk is gone; starting says so */ }
}

// Asks how far the job is, twice a second, and goes to the reading when it is there.

const box = document.getElementById("job");
const words = document.getElementById("job-words");
const bar = document.getElementById("job-progress");
const elapsed = document.getElementById("job-elapsed");
const problem = document.getElementById("job-problem");
const filled = (text, values) => text.replace(/\{(\w+)\}/g, (_, name) => values[name] ?? "");
let failures = 0;

function show(job) {
  const { one, waiting, elapsed: known, elapsedFirst } = box.dataset;
  const now = job.state === "waiting" ? waiting : filled(one, { number: job.number, total: job.total });
  if (words.textContent !== now) words.textContent = now; // a screen reader hears changes only
  const seconds = Math.round(job.elapsed_s);
  if (job.usual_s) {
    const share = (job.readings.length + Math.min(0.95, (job.elapsed_s % (job.usual_s * 1.5)) / job.usual_s)) / job.total;
    bar.value = Math.min(99, 100 * share);
    elapsed.textContent = filled(known, { seconds, usual: Math.round(job.usual_s) });
  } else {
    elapsed.textContent = filled(elapsedFirst, { seconds });
  }
}

async function ask() {
  try {
    const answer = await fetch(`/api/jobs/${box.dataset.job}`);
    if (!answer.ok) return location.reload();
    const job = await answer.json();
    failures = 0;
    problem.hidden = true;
    if (job.state === "done" || job.state === "cancelled") return location.assign(`/jobs/${job.id}`);
    show(job);
  } catch {
    failures += 1;
    if (failures > 3) { problem.textContent = box.dataset.lost; problem.hidden = false; }
  }
  return setTimeout(ask, 500);
}

ask();

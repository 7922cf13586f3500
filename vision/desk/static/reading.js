// Links picture and plots: a place along the instrument chosen in one shows in all; by pointer, slider or keyboard.

import { onPicture, zoomable } from "./picture.js";

const reading = document.getElementById("reading");
const slider = document.getElementById("place");
const output = document.getElementById("place-words");
const svg = document.getElementById("picture");
const plots = [...document.querySelectorAll(".plot-canvas")].filter((plot) => plot.id.startsWith("plot-"));

function nearest(rows, x, most) {
  let best = null;
  for (const row of rows) if (!best || Math.abs(row[0] - x) < Math.abs(best[0] - x)) best = row;
  return best && Math.abs(best[0] - x) <= most ? best : null;
}

function linked(trace) {
  const picture = onPicture(svg, trace);
  function at(x) {
    const end = trace.axis_x_mm.at(-1);
    const place = Math.min(Math.max(x, 0), end);
    slider.value = place.toFixed(1);
    for (const plot of plots) {
      const { x0, x1, left, right } = plot.dataset;
      const where = Number(left) + ((place - x0) / (x1 - x0)) * (right - left);
      plot.querySelector(".cursor").setAttribute("d", `M${where.toFixed(1)} 12V174`);
    }
    picture.mark(place);
    const width = nearest(trace.profile, place, 0.2);
    const pitch = nearest(trace.pitch, place, 0.6);
    const text = reading.dataset.xWords
      .replace("{x}", place.toFixed(1))
      .replace("{width}", width ? (width[1] - width[2]).toFixed(3) : reading.dataset.unknown)
      .replace("{pitch}", pitch ? pitch[1].toFixed(3) : reading.dataset.unknown);
    output.textContent = text;
    slider.setAttribute("aria-valuetext", text);
  }
  slider.addEventListener("input", () => at(Number(slider.value)));
  svg.addEventListener("pointermove", (event) => { if (!event.buttons) at(picture.placeOf(event)); });
  for (const plot of plots) {
    plot.addEventListener("pointermove", (event) => {
      const box = plot.getBoundingClientRect();
      const { x0, x1, left, right } = plot.dataset;
      const where = ((event.clientX - box.left) / box.width) * plot.viewBox.baseVal.width;
      at(Number(x0) + ((where - left) / (right - left)) * (x1 - x0));
    });
  }
  for (const button of document.querySelectorAll("button.place")) {
    button.addEventListener("click", () => {
      at(Number(button.dataset.x));
      picture.show(Number(button.dataset.x));
      svg.scrollIntoView({ block: "nearest" });
    });
  }
}

if (svg) {
  zoomable(svg, { zoomIn: "zoom-in", zoomOut: "zoom-out", fit: "zoom-fit" });
  for (const box of document.querySelectorAll("[data-layer]")) {
    box.addEventListener("change", () => {
      for (const part of svg.querySelectorAll(`.layer-${box.dataset.layer}`)) part.classList.toggle("off", !box.checked);
    });
  }
}
if (svg && slider) {
  const answer = await fetch(reading.dataset.trace);
  if (answer.ok) linked(await answer.json());
}

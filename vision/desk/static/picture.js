// The zoomable picture: the view box moves, the drawing stays as the server made it.

const STEP = 1.4;
const MOST = 40;

export function zoomable(svg, buttons) {
  const view = svg.viewBox.baseVal;
  const whole = { x: view.x, y: view.y, width: view.width, height: view.height };
  const set = (x, y, width, height) => { view.x = x; view.y = y; view.width = width; view.height = height; };
  const zoom = (factor, cx = view.x + view.width / 2, cy = view.y + view.height / 2) => {
    const width = Math.min(Math.max(view.width / factor, whole.width / MOST), whole.width * 2);
    const real = view.width / width;
    set(cx - (cx - view.x) / real, cy - (cy - view.y) / real, width, view.height / real);
  };
  const move = (dx, dy) => set(view.x + dx * view.width, view.y + dy * view.height, view.width, view.height);
  const fit = () => set(whole.x, whole.y, whole.width, whole.height);
  const at = (event) => {
    const point = new DOMPoint(event.clientX, event.clientY).matrixTransform(svg.getScreenCTM().inverse());
    return [point.x, point.y];
  };
  document.getElementById(buttons.zoomIn).addEventListener("click", () => zoom(STEP));
  document.getElementById(buttons.zoomOut).addEventListener("click", () => zoom(1 / STEP));
  document.getElementById(buttons.fit).addEventListener("click", fit);
  svg.addEventListener("keydown", (event) => {
    const keys = {
      "+": () => zoom(STEP), "=": () => zoom(STEP), "-": () => zoom(1 / STEP), 0: fit,
      ArrowLeft: () => move(-0.15, 0), ArrowRight: () => move(0.15, 0), ArrowUp: () => move(0, -0.15), ArrowDown: () => move(0, 0.15),
    };
    if (!keys[event.key] || event.ctrlKey || event.metaKey || event.altKey) return;
    event.preventDefault();
    keys[event.key]();
  });
  svg.addEventListener("wheel", (event) => {
    if (!event.ctrlKey && document.activeElement !== svg) return; // a page that is scrolled past must not zoom
    event.preventDefault();
    zoom(event.deltaY < 0 ? STEP : 1 / STEP, ...at(event));
  }, { passive: false });
  dragged(svg, view, zoom, at);
}

function dragged(svg, view, zoom, at) {
  const fingers = new Map();
  const apart = () => {
    const [a, b] = [...fingers.values()];
    return Math.hypot(a.clientX - b.clientX, a.clientY - b.clientY);
  };
  svg.addEventListener("pointerdown", (event) => {
    fingers.set(event.pointerId, event);
    svg.focus({ preventScroll: true });
    svg.setPointerCapture(event.pointerId);
  });
  svg.addEventListener("pointermove", (event) => {
    const old = fingers.get(event.pointerId);
    if (!old) return;
    if (fingers.size === 2) {
      const before = apart();
      fingers.set(event.pointerId, event);
      zoom(apart() / Math.max(before, 1), ...at(event));
      return;
    }
    const [x0, y0] = at(old);
    const [x1, y1] = at(event);
    view.x += x0 - x1;
    view.y += y0 - y1;
    fingers.set(event.pointerId, event);
  });
  for (const name of ["pointerup", "pointercancel"]) svg.addEventListener(name, (event) => fingers.delete(event.pointerId));
}

export function onPicture(svg, trace) {
  const axis = trace.axis_px;
  const xs = trace.axis_x_mm;
  const group = svg.querySelector("g");
  const lines = svg.querySelectorAll(".cursor, .cursor-under");
  const reach = svg.viewBox.baseVal.height * 0.16;

  function indexOf(x) {
    let low = 0;
    let high = xs.length - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (xs[middle] <= x) low = middle; else high = middle;
    }
    return Math.abs(xs[low] - x) < Math.abs(xs[high] - x) ? low : high;
  }

  function mark(x) {
    const n = indexOf(x);
    const [a, b] = [axis[Math.max(n - 5, 0)], axis[Math.min(n + 5, axis.length - 1)]];
    const length = Math.hypot(b[0] - a[0], b[1] - a[1]) || 1;
    const [nx, ny] = [-(b[1] - a[1]) / length * reach, (b[0] - a[0]) / length * reach];
    const [px, py] = axis[n];
    const gap = 0.25; // leave the metal itself free
    const d = `M${px + nx} ${py + ny}L${px + gap * nx} ${py + gap * ny}M${px - gap * nx} ${py - gap * ny}L${px - nx} ${py - ny}`;
    for (const line of lines) line.setAttribute("d", d);
  }

  function placeOf(event) {
    const p = new DOMPoint(event.clientX, event.clientY).matrixTransform(group.getScreenCTM().inverse());
    let best = 0;
    let least = Infinity;
    axis.forEach(([x, y], n) => {
      const away = (x - p.x) ** 2 + (y - p.y) ** 2;
      if (away < least) { least = away; best = n; }
    });
    return xs[best];
  }

  function show(x) {
    const view = svg.viewBox.baseVal;
    const [px, py] = axis[indexOf(x)];
    const turned = new DOMPoint(px, py).matrixTransform(group.transform.baseVal.consolidate().matrix);
    view.x = turned.x - view.width / 2;
    view.y = turned.y - view.height / 2;
  }

  return { mark, placeOf, show };
}

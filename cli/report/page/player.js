"use strict";
// A stroke's film in step with its acceleration, a second one beside it. `data` may grow; `address` says where a
// stroke's film is; `noted` is told which stroke is shown.
function strokePlayer(data, address, noted) {
  const film = document.getElementById("film");
  const noFilm = document.getElementById("no-film");
  const curve = document.getElementById("curve");
  const scrub = document.getElementById("scrub");
  const play = document.getElementById("play");
  const speed = document.getElementById("speed");
  const reading = document.getElementById("reading");
  const name = document.getElementById("player-name");
  const player = document.getElementById("player");
  const screen = document.getElementById("screen");
  const other = document.getElementById("other");
  const beside = document.getElementById("beside");
  const plot = { left: 30, right: 350, top: 12, bottom: 172 };
  let chosen = null;
  let time = 0;
  let timer = 0;

  function draw(tag, attributes, text) {
    const made = document.createElementNS("http://www.w3.org/2000/svg", tag);
    for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
    if (text !== undefined) made.textContent = text;
    curve.append(made);
    return made;
  }

  const span = (stroke) => [stroke.pieces[0].t[0], stroke.pieces.at(-1).t.at(-1)];
  const clamp = (value, low, high) => Math.min(Math.max(value, low), high);

  // One scale for every stroke of the lesson, impact at one place: curves can be compared by eye.
  const extent = (values) => values.reduce(([low, high], each) => [Math.min(low, each), Math.max(high, each)], [0, 0]);
  let low, high, early, late, room, floor;

  function measure() {
    const every = Object.values(data);
    [low, high] = extent(every.flatMap((stroke) => stroke.pieces.flatMap((piece) => piece.a)).filter((each) => each !== null));
    [early, late] = extent(every.flatMap((stroke) => span(stroke).map((each) => each - stroke.zero)));
    room = 0.1 * (high - low || 1);
    floor = plot.bottom - (every.some((stroke) => stroke.coin) ? 16 : 0); // below it stands what the coin does
  }

  function scales(stroke) {
    return {
      x: (t) => plot.left + ((t - stroke.zero - early) / (late - early)) * (plot.right - plot.left),
      y: (a) => floor - ((a - low + room) / (high - low + 2 * room)) * (floor - plot.top),
      t: (x) => stroke.zero + early + ((x - plot.left) / (plot.right - plot.left)) * (late - early),
      low, high,
    };
  }

  function paint(stroke) {
    measure();
    curve.replaceChildren();
    curve.setAttribute("class", "chart c" + (stroke.condition % 4));
    const at = scales(stroke);
    draw("line", { x1: plot.left, x2: plot.right, y1: at.y(0), y2: at.y(0), class: "zero" });
    draw("text", { x: plot.left - 5, y: at.y(0) + 4, class: "axis end" }, "0");
    draw("text", { x: plot.left - 5, y: at.y(at.high) + 4, class: "axis end" }, at.high.toFixed(1));
    draw("text", { x: 2, y: 12, class: "axis" }, "m/s²");
    let free = -Infinity;
    for (const event of ["takeaway", "top", "impact", "finish"]) {
      const when = stroke.events[event];
      if (when === null) continue;
      draw("line", { x1: at.x(when), x2: at.x(when), y1: plot.top, y2: plot.bottom, class: "event" });
      const here = Math.max(at.x(when), free + 28);
      draw("text", { x: clamp(here, 24, plot.right - 14), y: 188, class: "axis middle" }, event);
      free = here + 20;
    }
    if (stroke.coin) {
      const [early, late] = stroke.coin.span;
      draw("line", { x1: at.x(early), x2: Math.max(at.x(late), at.x(early) + 3), y1: plot.bottom, y2: plot.bottom, class: "differs" });
      draw("text", { x: Math.min(at.x(late) + 5, plot.right - 104), y: plot.bottom - 5, class: "axis start" }, stroke.coin.words);
    }
    const second = data[beside.value];
    if (second) {
      const there = scales(second);
      for (const { t, a } of second.pieces) {
        const known = [...t.keys()].filter((k) => a[k] !== null);
        if (known.length > 1) draw("path", { d: "M" + known.map((k) => there.x(t[k]).toFixed(1) + " " + there.y(a[k]).toFixed(1)).join("L"), class: "beside c" + (second.condition % 4) });
      }
    }
    // The curve breaks at impact, where the ball takes speed from the head in half a millisecond.
    for (const { t, a, sd } of stroke.pieces) {
      const known = [...t.keys()].filter((k) => a[k] !== null);
      if (known.length < 2) continue;
      const edge = (sign) => known.map((k) => at.x(t[k]).toFixed(1) + " " + clamp(at.y(a[k] + sign * 1.96 * (sd[k] ?? 0)), 2, floor + 4).toFixed(1));
      draw("path", { d: "M" + edge(1).join("L") + "L" + edge(-1).reverse().join("L") + "Z", class: "spread" });
      draw("path", { d: "M" + known.map((k) => at.x(t[k]).toFixed(1) + " " + at.y(a[k]).toFixed(1)).join("L"), class: "line" });
    }
    draw("line", { y1: plot.top - 6, y2: plot.bottom, class: "cursor", id: "cursor" });
    draw("circle", { r: 4.5, class: "bead", id: "bead" });
  }

  // The piece that ends at impact holds the impact: there the head's own acceleration is the left limit.
  function accelerationAt(stroke, when) {
    const { t, a } = stroke.pieces.find((piece) => when <= piece.t.at(-1)) ?? stroke.pieces.at(-1);
    const after = t.findIndex((each) => each >= when);
    if (after <= 0) return after === 0 ? a[0] : a.at(-1);
    const share = (when - t[after - 1]) / (t[after] - t[after - 1]);
    if (share === 1) return a[after];
    return a[after - 1] === null || a[after] === null ? null : a[after - 1] + share * (a[after] - a[after - 1]);
  }

  function signed(a) {
    if (a === null) return "not measured";
    const size = Math.abs(a).toFixed(1);
    return (Number(size) === 0 ? "" : a < 0 ? "−" : "+") + size + " m/s²";
  }

  // Nearer to impact than the slider can step, or a pointer can aim, is on impact.
  function point(when, reach = Number(scrub.step) / 2) {
    const stroke = data[chosen], at = scales(stroke), [first, last] = span(stroke), impact = stroke.events.impact;
    const hit = impact !== null && Math.abs(when - impact) <= reach;
    time = hit ? impact : clamp(when, first, last);
    const a = accelerationAt(stroke, time);
    const cursor = document.getElementById("cursor"), bead = document.getElementById("bead");
    cursor.setAttribute("x1", at.x(time));
    cursor.setAttribute("x2", at.x(time));
    bead.setAttribute("cx", at.x(time));
    bead.setAttribute("cy", at.y(a ?? 0));
    scrub.value = time;
    const fromImpact = Math.round(1000 * (time - stroke.zero));
    const words = hit ? "at impact, " + stroke.at_impact
      : (fromImpact < 0 ? "−" : "+") + Math.abs(fromImpact) + " ms from impact, " + signed(a);
    reading.textContent = words;
    scrub.setAttribute("aria-valuetext", words);
  }

  // The second clip keeps step with the first: equally long before or after impact.
  function keepStep() {
    const second = data[beside.value];
    if (!second || !second.film || other.readyState < 1) return;
    const wanted = (time - data[chosen].zero + second.zero - second.film.from) * second.film.slow;
    const inside = wanted >= 0 && wanted < other.duration - 0.02;
    if (film.paused || !inside) other.pause();
    else if (other.paused) other.play().catch(() => undefined);
    other.playbackRate = film.playbackRate * second.film.slow / data[chosen].film.slow;
    const reach = film.paused || !inside ? 0 : 0.08;
    const goal = clamp(wanted + (film.paused ? 0.002 : 0), 0, other.duration - 0.01);
    if (Math.abs(other.currentTime - goal) > reach) other.currentTime = goal;
  }

  function pair() {
    const second = data[beside.value];
    const shown = Boolean(second && second.film);
    other.hidden = !shown;
    screen.classList.toggle("two", shown && !film.hidden);
    if (shown) other.src = address(beside.value);
    else other.removeAttribute("src");
    title();
    paint(data[chosen]);
    point(time);
    keepStep();
  }

  function title() {
    const second = data[beside.value];
    name.textContent = data[chosen].title + (second ? "; dashed: " + second.title : "");
  }

  const filmTime = (stroke) => stroke.film.from + film.currentTime / stroke.film.slow;

  function follow() {
    const stroke = data[chosen];
    if (stroke.film && !film.paused) {
      point(filmTime(stroke));
      keepStep();
      timer = requestAnimationFrame(follow);
    }
  }

  function seek(when, reach) {
    film.pause();
    point(when, reach);
    const stroke = data[chosen];
    // Half a frame further: a time on the border between two frames may show the earlier one.
    if (stroke.film) film.currentTime = Math.max(0, (time - stroke.film.from) * stroke.film.slow + 0.002);
    keepStep();
  }

  function choose(id, show) {
    chosen = id;
    const stroke = data[id], [first, last] = span(stroke);
    film.pause();
    paint(stroke);
    title();
    scrub.min = first;
    scrub.max = last;
    scrub.step = (last - first) / 1000;
    film.hidden = !stroke.film;
    noFilm.hidden = Boolean(stroke.film);
    screen.classList.toggle("two", !other.hidden && !film.hidden);
    play.disabled = !stroke.film;
    if (stroke.film) {
      film.src = address(id);
      rate();
    } else {
      film.removeAttribute("src");
    }
    noted(id);
    const start = stroke.events.takeaway ?? first;
    if (stroke.film) film.addEventListener("loadedmetadata", () => seek(time), { once: true });
    point(start);
    if (show) player.scrollIntoView({ block: "center", behavior: matchMedia("(prefers-reduced-motion: reduce)").matches ? "auto" : "smooth" });
  }

  function rate() {
    film.defaultPlaybackRate = film.playbackRate = data[chosen].film.slow / Number(speed.value);
  }

  function toggle() {
    const stroke = data[chosen];
    if (!stroke.film) return;
    if (!film.paused) return film.pause();
    if (film.ended || time >= span(stroke)[1] - 1e-3) film.currentTime = 0;
    film.play().catch(() => undefined); // a press that is overtaken by another choice is no error
  }

  film.addEventListener("play", () => { play.textContent = "Pause"; cancelAnimationFrame(timer); follow(); });
  film.addEventListener("pause", () => { play.textContent = "Play"; keepStep(); });
  other.addEventListener("loadedmetadata", keepStep);
  beside.addEventListener("change", pair);
  film.addEventListener("click", toggle);
  play.addEventListener("click", toggle);
  speed.addEventListener("change", () => { if (data[chosen].film) rate(); });
  scrub.addEventListener("input", () => seek(Number(scrub.value)));

  function seekTo(event) {
    const box = curve.getBoundingClientRect();
    const at = scales(data[chosen]), unit = 360 / box.width;
    seek(at.t((event.clientX - box.left) * unit), at.t(3 * unit) - at.t(0));
  }
  curve.addEventListener("pointerdown", (event) => { curve.setPointerCapture(event.pointerId); seekTo(event); });
  curve.addEventListener("pointermove", (event) => { if (curve.hasPointerCapture(event.pointerId)) seekTo(event); });

  document.addEventListener("keydown", (event) => {
    if (event.key === " " && player.contains(event.target) && event.target === scrub) { event.preventDefault(); toggle(); }
  });

  return { choose, pair };
}

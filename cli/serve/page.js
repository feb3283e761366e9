// The live page: sends clips, hears what is new, shows it. Everything on it also stands in the page as first given.
(() => {
  const main = document.querySelector("main[data-seen]");
  const by = (id) => document.getElementById(id);
  const list = by("clips"), stage = by("stage"), said = by("said"), picker = by("picker"), runs = by("runs");
  const data = {}, sending = [];
  let chosen = "", player = null, stream = null, busy = false;

  const head = by("head");
  if (head) {
    const picture = head.querySelector("input[type=image]");
    head.classList.add("fits");
    head.addEventListener("submit", (event) => event.preventDefault());
    picture.addEventListener("click", (event) => {
      if (!event.detail) return; // a key: the two fields below are for it
      const made = new Image();
      made.onload = () => {
        const scale = made.naturalWidth / picture.clientWidth;
        const at = { "at.x": event.offsetX * scale, "at.y": event.offsetY * scale, width: made.naturalWidth };
        post(head.action, new URLSearchParams(at)).then((done) => done && location.assign("/"));
      };
      made.src = picture.src;
    });
  }

  async function post(address, body) {
    const answer = await fetch(address, { method: "POST", body, redirect: "manual" }).catch(() => null);
    const done = answer !== null && (answer.type === "opaqueredirect" || answer.ok);
    if (said) {
      said.hidden = done;
      said.textContent = done ? "" : answer === null ? "The laptop does not answer." : await answer.text();
    } else if (!done) alert(answer === null ? "The laptop does not answer." : await answer.text());
    return done;
  }

  document.addEventListener("submit", async (event) => {
    const form = event.target;
    if (form.dataset.quietly === undefined && !form.dataset.then) return;
    event.preventDefault();
    const done = await post(form.action, new URLSearchParams(new FormData(form, event.submitter)));
    if (done && form.dataset.then) location.assign(form.dataset.then);
    if (done) form.reset();
  });

  // --- what is new

  async function part(address) {
    const answer = await fetch(address).catch(() => null);
    return answer && answer.ok ? answer.text() : null;
  }

  // Whoever is typing in a part is not disturbed: it is put there once they leave it.
  function put(old, html, inner) {
    if (html === null) return;
    const typing = old.contains(document.activeElement) && document.activeElement.matches("input, select");
    if (typing) return document.activeElement.addEventListener("blur", () => setTimeout(() => put(old, html, inner), 300), { once: true });
    const open = [...old.querySelectorAll("details")].map((each) => each.open);
    const focused = old.contains(document.activeElement) ? document.activeElement : null;
    let fresh = old;
    if (inner) old.innerHTML = html;
    else { old.outerHTML = html; fresh = by(old.id); }
    if (!fresh) return;
    const same = [...fresh.querySelectorAll("details")];
    if (same.length === open.length && !inner) same.forEach((each, k) => { each.open ||= open[k]; });
    if (focused) [...fresh.querySelectorAll("button, summary, a")].find((each) => each.textContent === focused.textContent)?.focus();
  }

  async function refresh(id) {
    const html = await part("/clips/" + id);
    const old = by("clip-" + id);
    if (html === null) { old?.remove(); return listed(); }
    const before = old?.dataset.step;
    if (old) put(old, html, false);
    else { list.querySelector(".none")?.remove(); list.insertAdjacentHTML("afterbegin", html); }
    const row = by("clip-" + id);
    if (!chosen) document.querySelector(".codes")?.removeAttribute("open");
    listed();
    if (!row) return;
    const step = row.dataset.step;
    if (before !== step && ["measured", "refused"].includes(step)) by("heard").textContent = row.querySelector(".what").textContent + " " + (row.querySelector(".shown, .refusal")?.textContent ?? "");
    const last = [...row.querySelectorAll("[data-show]")].at(-1);
    await renew(row);
    if (last && before !== "measured" && (by("follow")?.checked ?? true)) await show(last.dataset.show);
  }

  function listed() {
    const beside = by("beside"), shows = [...list.querySelectorAll("[data-show]")];
    const kept = beside.value;
    const nothing = beside.options[0];
    beside.replaceChildren(nothing, ...shows.map((each) => new Option(each.dataset.title, each.dataset.show)));
    beside.value = shows.some((each) => each.dataset.show === kept) ? kept : "";
    for (const each of shows) {
      each.classList.toggle("chosen", each.dataset.show === chosen);
      each.setAttribute("aria-pressed", each.dataset.show === chosen);
    }
  }

  async function load(key, anew = false) {
    if (data[key] && !anew) return true;
    const answer = await fetch("/strokes/" + key).catch(() => null);
    if (!answer || !answer.ok) return false;
    data[key] = await answer.json();
    return true;
  }

  // A stroke was fetched before its film was there, or before it was sorted.
  async function renew(row) {
    for (const each of row.querySelectorAll("[data-show]")) {
      const key = each.dataset.show, old = data[key];
      if (!old || ((old.film || row.dataset.film === undefined) && old.title === each.dataset.title)) continue;
      if (!(await load(key, true))) continue;
      if (key === chosen) await show(key, Boolean(old.film));
      else if (key === by("beside").value) player.pair();
    }
  }

  // A film that is shown already plays on: only what is written about it is new.
  async function show(key, playsOn = false) {
    if (!(await load(key))) return;
    chosen = key;
    stage.hidden = false;
    by("figures").innerHTML = data[key].html;
    player ??= strokePlayer(data, (id) => data[id].film.src, () => undefined);
    if (playsOn) player.pair();
    else player.choose(key, false);
    listed();
  }

  if (list) {
    list.addEventListener("click", (event) => {
      const button = event.target.closest("[data-show]");
      if (!button) return;
      show(button.dataset.show).then(() => { if (stage.getBoundingClientRect().top < 0) stage.scrollIntoView(); });
    });
    // The second stroke is fetched before the player hears of the choice.
    by("beside").addEventListener("change", (event) => {
      const key = event.target.value;
      if (!key || data[key]) return;
      event.stopImmediatePropagation();
      load(key).then((there) => { if (there) event.target.dispatchEvent(new Event("change")); });
    }, true);
    listed();
    const newest = list.querySelector(".clip [data-show]");
    if (newest) show([...newest.closest(".clip").querySelectorAll("[data-show]")].at(-1).dataset.show);
  }

  const all = async () => {
    if (runs) return put(runs, await part("/alone?part=1"), true);
    const html = await part("/clips");
    if (html === null) return;
    const unsent = [...list.querySelectorAll("[data-sending]")];
    list.innerHTML = html;
    list.prepend(...unsent.filter((each) => !by("clip-" + each.dataset.sending)));
    listed();
    if (by("now")) { put(by("now"), await part("/now"), true); put(by("so-far"), await part("/so-far"), true); }
  };

  let due = Promise.resolve();
  const inTurn = (what) => { due = due.then(what).catch(() => undefined); };

  function listen() {
    stream = new EventSource("/events?after=" + encodeURIComponent(main.dataset.seen));
    let lost = 0;
    const heard = (kind, what) => stream.addEventListener(kind, (event) => { main.dataset.seen = event.lastEventId; inTurn(() => what(event.data)); });
    heard("clip", (id) => (runs ? all() : refresh(id)));
    heard("all", all);
    heard("now", async () => by("now") && put(by("now"), await part("/now"), true));
    heard("lesson", async () => by("so-far") && put(by("so-far"), await part("/so-far"), true));
    stream.onopen = () => { clearTimeout(lost); by("line-lost").hidden = true; next(); };
    stream.onerror = () => {
      clearTimeout(lost);
      lost = setTimeout(() => { by("line-lost").hidden = false; }, 2500);
      if (stream.readyState === EventSource.CLOSED) setTimeout(listen, 5000);
    };
  }
  if (main) {
    listen();
    addEventListener("pagehide", () => stream.close());
    addEventListener("pageshow", (event) => { if (event.persisted) listen(); });
  }

  // --- sending

  // The picture of a clip on its way, until the laptop has it and says more.
  function onItsWay(clip) {
    const row = document.createElement("li");
    row.className = "clip c3";
    row.id = "clip-" + clip.id;
    row.dataset.sending = clip.id;
    row.innerHTML = '<p class="what"><b></b> <span class="step">waiting to be sent</span></p><progress max="1" value="0" aria-label="Sent"></progress><p class="refusal" hidden></p><button type="button" hidden>Send again</button>';
    row.querySelector("b").textContent = clip.file.name;
    row.querySelector("button").addEventListener("click", () => { clip.failed = false; tell(clip, "waiting to be sent"); next(); });
    list.querySelector(".none")?.remove();
    list.prepend(row);
    clip.row = row;
    document.querySelector(".phone .tips")?.removeAttribute("open");
  }

  function tell(clip, words, wrong = "") {
    clip.row.querySelector(".step").textContent = words;
    clip.row.querySelector(".refusal").textContent = wrong;
    clip.row.querySelector(".refusal").hidden = !wrong;
    clip.row.querySelector("button").hidden = !wrong;
  }

  function next() {
    const clip = sending.find((each) => !each.failed);
    const open = by("keep-open");
    if (open) open.hidden = !clip;
    if (!clip || busy) return;
    busy = true;
    const request = new XMLHttpRequest();
    request.open("PUT", "/clips/" + clip.id);
    request.setRequestHeader("x-clip-name", encodeURIComponent(clip.file.name));
    request.upload.onprogress = (event) => {
      const share = event.loaded / event.total;
      clip.row.querySelector("progress").value = share;
      tell(clip, share < 1 ? "uploading, " + Math.floor(100 * share) + " %" : "uploaded");
    };
    const over = () => { busy = false; };
    request.onload = () => {
      over();
      if (request.status === 200 || request.status === 202) {
        sending.splice(sending.indexOf(clip), 1);
        if (clip.row.isConnected) inTurn(() => refresh(clip.id));
      } else if ([408, 409, 429].includes(request.status)) {
        return later(clip);
      } else {
        clip.failed = true;
        tell(clip, "not sent", request.responseText || "The laptop did not take it.");
      }
      next();
    };
    request.onerror = request.ontimeout = () => { over(); later(clip); };
    request.send(clip.file);
  }

  function later(clip) {
    clip.tries = (clip.tries ?? 0) + 1;
    tell(clip, "the line broke; sending again");
    setTimeout(next, Math.min(1000 * 2 ** clip.tries, 15000));
  }

  picker?.addEventListener("change", () => {
    for (const file of picker.files) {
      const id = [...crypto.getRandomValues(new Uint8Array(8))].map((each) => each.toString(16).padStart(2, "0")).join("");
      const clip = { id, file };
      sending.push(clip);
      onItsWay(clip);
    }
    picker.value = "";
    next();
  });
  for (const woken of ["online", "visibilitychange"]) (woken === "online" ? window : document).addEventListener(woken, () => { if (!document.hidden) next(); });
  addEventListener("beforeunload", (event) => { if (busy) event.preventDefault(); });
})();

(() => {
  const data = JSON.parse(document.getElementById("data").textContent);
  const urls = new Map();

  // A blob plays on every phone; a data: address does not on some.
  function address(id) {
    if (!urls.has(id)) {
      const holder = [...document.querySelectorAll("script[data-film]")].find((each) => each.dataset.film === id);
      const bytes = Uint8Array.from(atob(holder.textContent), (letter) => letter.charCodeAt(0));
      urls.set(id, URL.createObjectURL(new Blob([bytes], { type: "video/mp4" })));
    }
    return urls.get(id);
  }

  const player = strokePlayer(data, address, (id) => {
    for (const each of document.querySelectorAll("[data-stroke]")) each.classList.toggle("chosen", each.dataset.stroke === id);
    const radio = [...document.querySelectorAll("input[name=stroke]")].find((each) => each.value === id);
    radio.checked = true;
  });

  document.getElementById("choices").addEventListener("change", (event) => player.choose(event.target.value, false));
  document.addEventListener("click", (event) => {
    const mark = event.target.closest("[data-stroke]");
    if (mark) player.choose(mark.dataset.stroke, true);
  });
  const first = Object.keys(data)[0];
  if (first) player.choose(first, false);
})();

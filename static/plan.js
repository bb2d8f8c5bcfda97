// A flask dragged onto another load fills in the form that moves it. Without this script the
// form does the same.
"use strict";
(() => {
  const mark = () => {
    for (const flask of document.querySelectorAll("[data-flask]")) flask.draggable = true;
  };
  mark();
  document.addEventListener("pourday:refreshed", mark);
  const load = (event) => event.target.closest?.("[data-place]");
  document.addEventListener("dragstart", (event) => {
    const flask = event.target.closest?.("[data-flask]");
    if (!flask) return;
    event.dataTransfer.setData("text/plain", flask.dataset.flask);
    event.dataTransfer.effectAllowed = "move";
    // The page is not fetched again under the hand.
    flask.classList.add("dragging");
  });
  document.addEventListener("dragend", () => {
    for (const one of document.querySelectorAll(".dragging, .over")) one.classList.remove("dragging", "over");
  });
  document.addEventListener("dragover", (event) => {
    const over = load(event);
    if (!over || !document.querySelector(".dragging") || over.contains(document.querySelector(".dragging"))) return;
    event.preventDefault();
    over.classList.add("over");
  });
  document.addEventListener("dragleave", (event) => {
    const left = load(event);
    if (left && !left.contains(event.relatedTarget)) left.classList.remove("over");
  });
  document.addEventListener("drop", (event) => {
    const into = load(event);
    const form = document.querySelector("#move form");
    const flask = event.dataTransfer.getData("text/plain");
    if (!into || !form || !flask) return;
    event.preventDefault();
    form.elements.flask.value = flask;
    form.elements.place.value = into.dataset.place;
    if (form.elements.flask.value === flask && form.elements.place.value === into.dataset.place) form.requestSubmit();
  });
  // Where a flask is to go is chosen next: by keyboard and by touch, which do not drag.
  document.addEventListener("click", (event) => {
    const move = event.target.closest?.("a[data-move]");
    const form = document.querySelector("#move form");
    if (!move || !form || event.ctrlKey || event.metaKey || event.shiftKey) return;
    event.preventDefault();
    document.querySelector("#move").open = true;
    form.elements.flask.value = move.dataset.move;
    form.elements.place.scrollIntoView({ block: "center" });
    form.elements.place.focus();
  });
  document.addEventListener("click", async (event) => {
    const copy = event.target.closest("button[data-copy-path]");
    if (!copy) return;
    await navigator.clipboard?.writeText(location.origin + copy.dataset.copyPath);
    copy.textContent = "Copied";
  });
})();

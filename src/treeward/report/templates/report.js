"use strict";
(() => {
  for (const box of document.querySelectorAll(".show-day")) {
    box.hidden = false;
    box.addEventListener("change", () => {
      const parts = document.querySelectorAll(`#map-view [data-day="${box.value}"]`);
      for (const part of parts) part.style.display = box.checked ? "" : "none";
    });
  }

  const notes = document.getElementById("notes");
  const reveal = () => {
    const target = location.hash && document.getElementById(location.hash.slice(1));
    if (notes && target && notes.contains(target)) {
      notes.open = true;
      target.scrollIntoView({ block: "center" });
    }
  };
  addEventListener("hashchange", reveal);
  reveal();

  for (const button of document.querySelectorAll("[data-play]")) {
    const row = document.getElementById(button.dataset.play);
    const sound = row && row.querySelector("audio");
    if (!sound) continue;
    button.hidden = false;
    button.addEventListener("click", () => { sound.currentTime = 0; sound.play(); });
  }
})();

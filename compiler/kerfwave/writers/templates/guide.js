"use strict";
// Ticks survive a reload where the browser lets a page keep something; where it does not, they still tick.
(() => {
  const key = "kerfwave:" + document.body.dataset.key;
  const boxes = [...document.querySelectorAll("input[type=checkbox]")];
  const bar = document.getElementById("progress");
  const text = document.getElementById("progress-text");
  let ticked = new Set();
  try { ticked = new Set(JSON.parse(localStorage.getItem(key)) || []); } catch { /* nothing kept */ }
  const show = () => {
    const done = boxes.filter((box) => box.checked);
    text.textContent = done.length + " of " + boxes.length + " ticked.";
    try { localStorage.setItem(key, JSON.stringify(done.map((box) => box.id))); } catch { /* not kept */ }
  };
  for (const box of boxes) {
    box.checked = ticked.has(box.id);
    box.addEventListener("change", show);
  }
  document.getElementById("clear").addEventListener("click", () => {
    if (!confirm("Clear all ticks of this guide?")) return;
    for (const box of boxes) box.checked = false;
    show();
  });
  // Paper cannot be unfolded: what is needed beside the machine is printed open.
  const folded = [...document.querySelectorAll("details.on-paper:not([open])")];
  addEventListener("beforeprint", () => { for (const part of folded) part.open = true; });
  addEventListener("afterprint", () => { for (const part of folded) part.open = false; });
  bar.hidden = boxes.length === 0;
  show();
})();

"use strict";
(() => {
  const links = [...document.querySelectorAll("a.slot-link")];
  const chosen = document.getElementById("chosen");
  const text = document.getElementById("chosen-text");
  const reasonOf = (link) => document.getElementById(link.getAttribute("href").slice(1));
  let current = null;

  const close = () => {
    chosen.hidden = true;
    links.forEach((link) => link.removeAttribute("aria-current"));
    if (current) current.focus();
    current = null;
  };

  const choose = (link) => {
    const reason = reasonOf(link);
    if (!reason) return;
    links.forEach((each) => each.removeAttribute("aria-current"));
    links.filter((each) => each.getAttribute("href") === link.getAttribute("href"))
      .forEach((each) => each.setAttribute("aria-current", "true"));
    current = link;
    const copy = [...reason.children].map((child) => child.cloneNode(true));
    text.replaceChildren(...copy.filter((child) => !child.classList.contains("back")));
    chosen.hidden = false;
  };

  const middle = (link) => {
    const box = link.getBoundingClientRect();
    return [box.left + box.width / 2, box.top + box.height / 2];
  };

  // The nearest slot in a direction: distance along it, and twice as much for what lies aside.
  const toward = (link, dx, dy) => {
    const [x, y] = middle(link);
    let best = null;
    let least = Infinity;
    links.forEach((other) => {
      const [a, b] = middle(other);
      const along = (a - x) * dx + (b - y) * dy;
      const aside = Math.abs((a - x) * dy) + Math.abs((b - y) * dx);
      if (other !== link && along > 1 && along + 2 * aside < least) {
        least = along + 2 * aside;
        best = other;
      }
    });
    return best;
  };

  const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  links.forEach((link) => {
    link.addEventListener("click", (event) => {
      event.preventDefault();
      choose(link);
    });
    link.addEventListener("keydown", (event) => {
      const step = steps[event.key];
      const next = step && toward(link, ...step);
      if (next) {
        event.preventDefault();
        next.focus();
        if (!chosen.hidden) choose(next);
      }
    });
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && !chosen.hidden) close();
  });
  document.getElementById("chosen-close").addEventListener("click", close);
})();

"use strict";
(() => {
  const links = [...document.querySelectorAll(".plate a.slot-link")];
  const chosen = document.getElementById("chosen");
  const text = document.getElementById("chosen-text");
  let current = null;

  // The chosen slot's reason, always there for a screen reader to announce, seen only while a slot is chosen.
  const show = (parts) => {
    text.replaceChildren(...parts);
    chosen.classList.toggle("closed", parts.length === 0);
  };

  const close = () => {
    show([]);
    links.forEach((link) => link.removeAttribute("aria-current"));
    if (current) current.focus({ preventScroll: true });
    current = null;
  };

  // The panel lies over the lower edge of the window: bring the slot out from under it.
  const uncover = (link) => {
    const slot = link.getBoundingClientRect();
    const panel = chosen.getBoundingClientRect();
    const under = slot.bottom + 8 - panel.top;
    if (under > 0 && slot.right > panel.left) window.scrollBy(0, Math.min(under, Math.max(0, slot.top - 8)));
  };

  const choose = (link) => {
    const target = link.getAttribute("href");
    const reason = document.getElementById(target.slice(1));
    if (!reason) return;
    links.forEach((each) => each.removeAttribute("aria-current"));
    link.setAttribute("aria-current", "true");
    current = link;
    show([...reason.children].map((child) => child.cloneNode(true)));
    chosen.scrollTop = 0;
    uncover(link);
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
  const next = (link, key) => {
    if (key === "Home") return links[0];
    if (key === "End") return links[links.length - 1];
    return steps[key] && toward(link, ...steps[key]);
  };

  // The map is one stop for Tab; the arrow keys go on from there.
  const rove = (link) => links.forEach((each) => each.setAttribute("tabindex", each === link ? "0" : "-1"));

  rove(links[0]);
  links.forEach((link) => {
    link.addEventListener("focus", () => rove(link));
    link.addEventListener("click", (event) => {
      event.preventDefault();
      if (current === link && event.detail === 0) chosen.focus();
      else choose(link);
    });
    link.addEventListener("keydown", (event) => {
      const other = next(link, event.key);
      if (!other || event.altKey || event.ctrlKey || event.metaKey || event.shiftKey) return;
      event.preventDefault();
      other.focus();
      if (current) choose(other);
    });
  });
  document.addEventListener("keydown", (event) => {
    if (event.key === "Escape" && current) close();
  });
  document.getElementById("chosen-close").addEventListener("click", close);
  chosen.hidden = false;
  show([]);
})();

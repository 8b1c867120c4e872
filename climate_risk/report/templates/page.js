// Shows the parts of the page that fit the choices; marks tables that scroll as tab stops.
"use strict";
const controls = [...document.querySelectorAll("[data-control]")];
const parts = [...document.querySelectorAll("[data-when]")].map((element) => ({
  element, when: Object.entries(JSON.parse(element.dataset.when)),
}));
function update() {
  const chosen = {};
  for (const control of controls) if (control.checked) chosen[control.name] = control.value;
  for (const { element, when } of parts) {
    element.hidden = !when.every(([name, value]) =>
      !(name in chosen) || [value].flat().map(String).includes(chosen[name]));
  }
  markScrolling();
}
function markScrolling() {
  for (const box of document.querySelectorAll(".scroll")) {
    const scrolls = box.scrollWidth > box.clientWidth + 1;
    box.classList.toggle("goes-on", scrolls);
    if (scrolls) {
      box.tabIndex = 0;
      box.setAttribute("role", "region");
      box.setAttribute("aria-label", `${box.querySelector("caption").textContent}: scrolls sideways`);
    } else {
      box.removeAttribute("tabindex");
      box.removeAttribute("role");
      box.removeAttribute("aria-label");
    }
  }
}
for (const control of controls) control.addEventListener("change", update);
for (const details of document.querySelectorAll("details")) details.addEventListener("toggle", markScrolling);
window.addEventListener("resize", markScrolling);
update();

// What the widgets leave without a name is named; the rest of a page needs no script.
(() => {
  const afresh = document.getElementById("afresh");
  const visit = new URLSearchParams(window.location.search).get("visit");
  if (afresh && visit) {
    afresh.href = `?instead=${encodeURIComponent(visit)}`;
  }
  const once = (selector, act) => document.querySelectorAll(selector).forEach(act);
  const name = () => {
    once(".widget-inline-hbox .noUi-handle:not([aria-label])", (handle) => {
      const label = handle.closest(".widget-inline-hbox").querySelector(".widget-label");
      handle.setAttribute("aria-label", (label && label.textContent) || "Slider");
    });
    // A table to type in scrolls by itself where the screen is narrow.
    once(".sizing-wide:not([role])", (node) => {
      const caption = node.previousElementSibling;
      node.setAttribute("role", "region");
      node.setAttribute("tabindex", "0");
      node.setAttribute("aria-label", caption ? caption.textContent : "Table");
    });
    // The widgets write a title that they do not have as "null", for all to read.
    once('[title="null"]', (node) => node.removeAttribute("title"));
    const waits = document.getElementById("getting-ready");
    if (waits && document.querySelector(".jupyter-widgets")) {
      waits.remove();
    }
  };
  // The answer follows a number as it is typed, once the keys rest; words and units
  // wait until the field is left, for "5 ft" may be half of what is meant.
  let rest = 0;
  document.addEventListener("input", (event) => {
    window.clearTimeout(rest);
    const field = event.target;
    if (field.matches(".widget-text input[type=text]")) {
      rest = window.setTimeout(() => {
        if (/^\s*(\d+([.,]\d+)?)?\s*$/.test(field.value)) {
          field.dispatchEvent(new Event("change", { bubbles: true }));
        }
      }, 250);
    }
  });
  let waiting = false;
  new MutationObserver(() => {
    if (!waiting) {
      waiting = true;
      window.setTimeout(() => { waiting = false; name(); }, 200);
    }
  }).observe(document.body, { childList: true, subtree: true, attributeFilter: ["title"] });
  name();
})();

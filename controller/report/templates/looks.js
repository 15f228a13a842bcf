// The look of the page: dark, night (red) or light. It is kept for all pages; a browser may refuse that to a file.
(() => {
  const KEY = "fullturn-look", LOOKS = ["dark", "night", "light"], root = document.documentElement;
  function kept() { try { return localStorage.getItem(KEY); } catch { return null; } }
  function keep(look) { try { localStorage.setItem(KEY, look); } catch { /* it holds until the page is left */ } }
  function show(look) {
    root.dataset.look = LOOKS.includes(look) ? look : "dark";
    for (const button of document.querySelectorAll("[data-set-look]"))
      button.setAttribute("aria-pressed", String(button.dataset.setLook === root.dataset.look));
    document.dispatchEvent(new CustomEvent("look", { detail: root.dataset.look }));
  }
  show(kept());
  document.addEventListener("DOMContentLoaded", () => show(root.dataset.look));
  document.addEventListener("click", event => {
    const button = event.target.closest("[data-set-look]");
    if (button) { keep(button.dataset.setLook); show(button.dataset.setLook); }
  });
  window.addEventListener("storage", event => { if (event.key === KEY) show(event.newValue); });
})();

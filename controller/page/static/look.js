// Sets the look before anything is drawn. Not a module: those run too late.
{
  let look = null;
  try {
    look = localStorage.getItem("fullturn-look");
  } catch {
    // Storage is switched off in this browser: the look lasts as long as the page.
  }
  document.documentElement.dataset.look = ["dark", "night", "light"].includes(look) ? look : "dark";
}

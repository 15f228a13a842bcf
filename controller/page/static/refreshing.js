// Parts of a view, read again from the server as it would show them now.

/** Replaces the elements with these ids by those of a new copy of this view; what it lacks is left as it is. */
export async function refresh(...ids) {
  let text;
  try {
    const response = await fetch(location.href);
    if (!response.ok) return false;
    text = await response.text();
  } catch {
    return false; // the line about the connection says so
  }
  const copy = new DOMParser().parseFromString(text, "text/html");
  for (const id of ids) {
    const [now, then] = [copy.getElementById(id), document.getElementById(id)];
    if (now !== null && then !== null && now.outerHTML !== then.outerHTML) then.replaceWith(document.adoptNode(now));
  }
  return true;
}

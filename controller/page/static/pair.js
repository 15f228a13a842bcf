// Pairing: posts the key that was typed, or the one behind the # of the link.

const form = document.getElementById("pair");
const input = document.getElementById("key");
const place = document.getElementById("sentence");

function tell(text) {
  place.textContent = text;
  place.hidden = !text;
}

async function pair(key) {
  try {
    const response = await fetch("/pair", {
      method: "POST",
      headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ key }),
    });
    const answer = await response.json();
    if (response.ok) location.replace(answer.go);
    else tell(answer.sentence);
  } catch {
    tell("This did not reach the computer at the head. Are both on the same network?");
  }
}

form.addEventListener("submit", (event) => {
  event.preventDefault();
  pair(input.value);
});

const key = decodeURIComponent(location.hash.slice(1));
if (key) {
  history.replaceState(null, "", location.pathname); // the key leaves the address at once
  pair(key);
}

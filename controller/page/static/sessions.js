// Sessions: the list, read again while some are unread, and from time to time.

import { start } from "./page.js";
import { refresh } from "./refreshing.js";

const SOON_MS = 300; // while some are unread
const EVERY_MS = 15_000;

const list = () => document.getElementById("list");
const unread = () => Number(list().dataset.unread) > 0;

async function look() {
  // Nothing is taken away that a finger or a key is on.
  const free = !document.hidden && !list().contains(document.activeElement);
  const there = free && (await refresh("list"));
  setTimeout(look, there && unread() ? SOON_MS : EVERY_MS);
}

if (list()) setTimeout(look, unread() ? SOON_MS : EVERY_MS); // a folder's page has no list
start("/events", {});

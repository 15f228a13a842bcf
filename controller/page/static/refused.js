// A page that says why something was refused.

import { start } from "./page.js";

start("/events", {});

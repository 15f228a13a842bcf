// The view "Now".
import { start } from "./page.js";

start("/events", {});

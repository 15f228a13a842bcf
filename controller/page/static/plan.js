// The view "Plan".
import { start } from "./page.js";

start("/events", {});

// The view "Sessions".
import { start } from "./page.js";

start("/events", {});

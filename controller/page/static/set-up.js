// The view "Set up".
import { start } from "./page.js";

start("/events", {});

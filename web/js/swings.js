import { SwingsPage } from "./swings-page.js";

const page = new SwingsPage(document);
page.connect();
addEventListener("pagehide", () => page.disconnect());
addEventListener("pageshow", (event) => event.persisted && page.connect());

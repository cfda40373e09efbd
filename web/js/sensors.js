import { SensorsPage } from "./sensors-page.js";

const page = new SensorsPage(document);
page.connect();
addEventListener("pagehide", () => page.disconnect());
addEventListener("pageshow", (event) => event.persisted && page.connect());

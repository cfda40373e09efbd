import { RangePage } from "./range-page.js";

const page = new RangePage(document);
page.connect();
addEventListener("pagehide", () => page.disconnect());
addEventListener("pageshow", (event) => event.persisted && page.connect());

// npm run dev [SCENARIO] [PORT]: the page against fixtures; bundled once, at start.
import { start_mock } from "./mock.mjs";

const [scenario = "judged", port = "8091"] = process.argv.slice(2);
const mock = await start_mock({ scenario, port: Number(port), beat_ms: 1000 });
console.log(`${scenario}: ${mock.url}`);

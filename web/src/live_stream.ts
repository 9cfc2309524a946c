// What roundeld tells of its own accord, and whether it is there at all.
import type { Live } from "./api";

export interface LiveHandlers {
  opened(was_lost: boolean): void;
  /** Told once, until it is open again. */
  lost(since_s: number): void;
  told(live: Live): void;
  now_s(): number;
}

export interface LiveStream {
  listen(): void;
  /** To be called each second. Tells what is newest, with the time that has passed since: roundeld
   * tells more often than a page need be drawn, and is silent while nothing changes. */
  let_time_pass(): void;
}

const patience_ms = 5000;

export function live_stream(handlers: LiveHandlers): LiveStream {
  let last: Live | null = null;
  let last_at_s = 0;
  let is_lost = false;

  function listen(): void {
    const source = new EventSource("api/live");
    source.onopen = () => {
      const was_lost = is_lost;
      is_lost = false;
      handlers.opened(was_lost);
    };
    source.onerror = () => {
      if (!is_lost) handlers.lost(handlers.now_s());
      is_lost = true;
      // A browser gives up for good where the answer was an error; then it is for us to go on.
      if (source.readyState === EventSource.CLOSED) setTimeout(listen, patience_ms);
    };
    source.addEventListener("live", (event) => {
      const is_first = last === null;
      last = JSON.parse(String((event as MessageEvent).data)) as Live;
      last_at_s = handlers.now_s();
      // Then at most once a second, by let_time_pass.
      if (is_first) handlers.told(last);
    });
  }

  return {
    listen,
    let_time_pass() {
      if (last === null) return;
      const passed_s = Math.max(0, handlers.now_s() - last_at_s);
      handlers.told({ ...last, now_s: last.now_s + passed_s });
    },
  };
}

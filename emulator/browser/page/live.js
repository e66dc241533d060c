// The connection to the wall: one WebSocket, opened again whenever it is lost.

const FIRST_MS = 500, MOST_MS = 5000, SILENT_MS = 5000;
const GOING_AWAY = 1001;

/** Calls back with the wall's messages; `send` gives it one of ours, if the line is open. */
export class Live {
  constructor({ told, picture, state }) {
    Object.assign(this, { told, picture, state });
    this.rest = FIRST_MS;
    this.line = null;
    this.ended = false;
    setInterval(() => this.watch(), 1000);
    this.open();
  }

  open() {
    clearTimeout(this.timer);
    this.ended = false;
    const address = new URL("live" + location.search, location.href);
    address.protocol = address.protocol.replace("http", "ws");
    const line = this.line = new WebSocket(address);
    line.binaryType = "arraybuffer";
    this.heard = performance.now();
    line.onmessage = ({ data }) => {
      if (line !== this.line) return;
      this.heard = performance.now();
      this.rest = FIRST_MS;
      if (typeof data === "string") this.told(JSON.parse(data));
      else this.picture(Number(new DataView(data).getBigUint64(0)), data.slice(8));
    };
    line.onclose = (event) => line === this.line && this.lost(event);
  }

  /** No more pictures until the user wants them again. */
  end() {
    this.ended = true;
    clearTimeout(this.timer);
    const line = this.line;
    this.line = null;
    line?.close();
    this.state("You closed this view. Press Q, or load the page again, to look again.");
  }

  send(message) {
    if (this.line?.readyState === WebSocket.OPEN) this.line.send(JSON.stringify(message));
  }

  watch() {
    if (this.line && performance.now() - this.heard > SILENT_MS) {
      const line = this.line;
      this.line = null;
      line.close();
      this.lost({ code: 0 });
    }
  }

  async lost(event) {
    this.line = null;
    const why = event.code === GOING_AWAY ? "The show has ended." : "No connection to the wall.";
    const rest = this.rest;
    this.rest = Math.min(2 * rest, MOST_MS);
    this.state(`${why} Trying again …`);
    this.timer = setTimeout(() => this.open(), rest);
    try {
      const answer = await fetch(location.href, { method: "HEAD" });
      if (answer.status === 403 && !this.ended) {
        clearTimeout(this.timer);
        this.state("The program was started again and has a new address: open the one it printed.");
      }
    } catch { /* the server is away; the timer tries again */ }
  }
}

// What is said between the page and its desk: messages out, news in, one picture under way while a hand is turning.

/** @typedef {{do: string, [key: string]: unknown}} Message */
/** @typedef {{serial: number, quality: string, width: number, height: number, s: number}} About */

const SLOW_S = 0.22;
const WAITS_MS = [400, 800, 1500, 3000];

export class Talk {
  /**
   * @param {(news: any) => void} hear what is said, as an object with `say`
   * @param {(about: About, pixels: Uint8ClampedArray) => void} see a picture
   * @param {(isOpen: boolean) => void} changed whether the server is there
   */
  constructor(hear, see, changed) {
    this.hear = hear; this.see = see; this.changed = changed;
    this.serial = 0; this.tries = 0;
    /** @type {Message | null} */ this.first = null;
    /** @type {Message | null} */ this.next = null;
    this.awaited = 0;
    /** How long pictures took on the way, by what was turned: [ms]. */
    this.sent = new Map();
    this.slow = new Map(); this.turned = "";
  }

  /** Connect, and say `opening()` first, now and whenever the connection came back.
   * @param {() => Message | null} opening */
  connect(opening) {
    const address = new URL("desk", document.baseURI);
    address.protocol = address.protocol.replace("http", "ws");
    const socket = new WebSocket(address);
    socket.binaryType = "arraybuffer";
    this.socket = socket;
    socket.onopen = () => {
      this.tries = 0; this.awaited = 0; this.next = null;
      this.changed(true);
      const message = opening();
      if (message) this.say(message);
    };
    socket.onmessage = (event) => {
      if (typeof event.data === "string") this.#told(JSON.parse(event.data));
      else this.#seen(event.data);
    };
    socket.onclose = () => {
      this.changed(false);
      setTimeout(() => this.connect(opening), WAITS_MS[Math.min(this.tries++, WAITS_MS.length - 1)]);
    };
  }

  get isOpen() { return this.socket?.readyState === WebSocket.OPEN; }

  /** Say something at once; returns its number.
   * @param {Message} message */
  say(message) {
    if (!this.isOpen) return 0;
    this.serial += 1;
    this.sent.set(this.serial, performance.now());
    if (this.sent.size > 400) this.sent.delete(this.sent.keys().next().value);
    this.socket.send(JSON.stringify({ ...message, serial: this.serial }));
    return this.serial;
  }

  /** Say something while a hand is turning: the newest goes out once the picture before it is there.
   * @param {string} what that is turned
   * @param {Message} message */
  turn(what, message) {
    const share = (this.slow.get(what) ?? 0) > SLOW_S ? 0.5 : 1;
    const whole = { ...message, is_turning: true, share };
    this.turned = what;
    if (this.awaited) this.next = whole;
    else this.awaited = this.say(whole);
  }

  /** The hand has let go.
   * @param {Message} message */
  settle(message) {
    this.next = null; this.awaited = 0;
    this.say({ ...message, is_turning: false, share: 1 });
  }

  #free(serial) {
    if (!this.awaited || serial < this.awaited) return;
    this.awaited = 0;
    if (this.next) { this.awaited = this.say(this.next); this.next = null; }
  }

  #told(news) {
    this.hear(news);
    const isEnd = (news.say === "values" && !news.is_drawn) || news.say === "refused" || news.say === "faults";
    if (isEnd) this.#free(news.serial ?? this.awaited);
  }

  #seen(data) {
    const length = new DataView(data).getUint32(0);
    /** @type {About} */
    const about = JSON.parse(new TextDecoder().decode(new Uint8Array(data, 4, length)));
    this.see(about, new Uint8ClampedArray(data, 4 + length));
    const began = this.sent.get(about.serial);
    if (began !== undefined && about.quality === "quick") {
      // For whoever measures: from the message to the picture on the canvas.
      (window.pictureTimes ??= []).push({ serial: about.serial, ms: performance.now() - began, s: about.s });
      if (window.pictureTimes.length > 1000) window.pictureTimes.shift();
    }
    if (this.awaited && about.serial >= this.awaited) {
      const full = about.width >= 900 ? about.s : about.s * 3;
      this.slow.set(this.turned, full);
    }
    this.#free(about.serial);
  }
}

/** Gives every distinct whole number up to 2^53 a dense index, in the order of first appearance. Open addressing. */
export class KeyTable {
  #keys: Float64Array;
  #values: Int32Array;
  #mask: number;
  count = 0;

  constructor(expected: number) {
    let size = 1024;
    while (size < 2 * expected) size *= 2;
    this.#keys = new Float64Array(size).fill(-1);
    this.#values = new Int32Array(size);
    this.#mask = size - 1;
  }

  /** Index of the key, a new one when it has none yet. */
  indexOf(key: number): number {
    let slot = this.#find(key);
    if (this.#keys[slot] === key) return this.#values[slot];
    if (2 * (this.count + 1) > this.#keys.length) {
      this.#grow();
      slot = this.#find(key);
    }
    this.#keys[slot] = key;
    this.#values[slot] = this.count;
    return this.count++;
  }

  /** Index of the key, or -1. */
  lookUp(key: number): number {
    const slot = this.#find(key);
    return this.#keys[slot] === key ? this.#values[slot] : -1;
  }

  #find(key: number): number {
    const low = key % 4294967296;
    const high = (key - low) / 4294967296;
    let hash = Math.imul(low ^ Math.imul(high, 0x9e3779b1), 0x85ebca6b);
    hash = Math.imul(hash ^ (hash >>> 15), 0xc2b2ae35);
    let slot = (hash ^ (hash >>> 13)) & this.#mask;
    while (this.#keys[slot] !== -1 && this.#keys[slot] !== key) slot = (slot + 1) & this.#mask;
    return slot;
  }

  #grow(): void {
    const keys = this.#keys;
    const values = this.#values;
    this.#keys = new Float64Array(2 * keys.length).fill(-1);
    this.#values = new Int32Array(2 * keys.length);
    this.#mask = 2 * keys.length - 1;
    for (let i = 0; i < keys.length; i++) {
      if (keys[i] === -1) continue;
      const slot = this.#find(keys[i]);
      this.#keys[slot] = keys[i];
      this.#values[slot] = values[i];
    }
  }
}

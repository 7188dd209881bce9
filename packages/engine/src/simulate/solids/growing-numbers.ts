/** A list of numbers in one float64 array that doubles when full. */
export class GrowingFloat64 {
  #values: Float64Array<ArrayBuffer> = new Float64Array(1024);
  length = 0;

  push(value: number): void {
    if (this.length === this.#values.length) {
      const larger = new Float64Array(2 * this.length);
      larger.set(this.#values);
      this.#values = larger;
    }
    this.#values[this.length++] = value;
  }

  /** The array behind, longer than the list; valid until the next push. */
  get values(): Float64Array<ArrayBuffer> {
    return this.#values;
  }

  toArray(): Float64Array<ArrayBuffer> {
    return this.#values.slice(0, this.length);
  }
}

/** A list of whole numbers in one uint32 array that doubles when full. */
export class GrowingUint32 {
  #values: Uint32Array<ArrayBuffer> = new Uint32Array(1024);
  length = 0;

  push(value: number): void {
    if (this.length === this.#values.length) {
      const larger = new Uint32Array(2 * this.length);
      larger.set(this.#values);
      this.#values = larger;
    }
    this.#values[this.length++] = value;
  }

  /** The array behind, longer than the list; valid until the next push. */
  get values(): Uint32Array<ArrayBuffer> {
    return this.#values;
  }

  push3(a: number, b: number, c: number): void {
    this.push(a);
    this.push(b);
    this.push(c);
  }

  toArray(): Uint32Array<ArrayBuffer> {
    return this.#values.slice(0, this.length);
  }
}

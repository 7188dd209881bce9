// Arrays whose final length is not known beforehand: a text file does not say how many points it holds.

/** Float64 values, appended; doubles its room. */
export class GrowingFloat64 {
  values: Float64Array;
  length = 0;

  constructor(capacity = 1024) {
    this.values = new Float64Array(capacity);
  }

  /** Makes room for `count` more values. */
  reserve(count: number): void {
    if (this.length + count <= this.values.length) return;
    const larger = new Float64Array(Math.max(this.length + count, Math.ceil(1.5 * this.values.length)));
    larger.set(this.values.subarray(0, this.length));
    this.values = larger;
  }

  push(value: number): void {
    if (this.length === this.values.length) this.reserve(1);
    this.values[this.length++] = value;
  }

  /** The values alone, without spare room. */
  trimmed(): Float64Array {
    return this.length === this.values.length ? this.values : this.values.slice(0, this.length);
  }
}

/** Whole numbers below 2^32, appended; grows by half. */
export class GrowingUint32 {
  values: Uint32Array;
  length = 0;

  constructor(capacity = 1024) {
    this.values = new Uint32Array(capacity);
  }

  reserve(count: number): void {
    if (this.length + count <= this.values.length) return;
    const larger = new Uint32Array(Math.max(this.length + count, Math.ceil(1.5 * this.values.length)));
    larger.set(this.values.subarray(0, this.length));
    this.values = larger;
  }

  push(value: number): void {
    if (this.length === this.values.length) this.reserve(1);
    this.values[this.length++] = value;
  }

  trimmed(): Uint32Array {
    return this.length === this.values.length ? this.values : this.values.slice(0, this.length);
  }
}

/** A list of float64 that grows. */
export class GrowingNumbers {
  values: Float64Array;
  length = 0;

  constructor(capacity = 1024) {
    this.values = new Float64Array(Math.max(16, capacity));
  }

  push(value: number): void {
    if (this.length === this.values.length) {
      const larger = new Float64Array(2 * this.values.length);
      larger.set(this.values);
      this.values = larger;
    }
    this.values[this.length++] = value;
  }

  toArray(): Float64Array {
    return this.values.slice(0, this.length);
  }
}

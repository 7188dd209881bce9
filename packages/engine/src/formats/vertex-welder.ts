/** Bits of -0, which as a number equals 0. */
const MINUS_ZERO = -0x80000000;
/** No vertex in a slot of the table. */
const EMPTY = 0xffffffff;
/** Slots of the small table in front: 256 kB, so that it stays in the second-level cache. */
const FRONT_SLOTS = 1 << 16;

/**
 * Gives one index to all corners with exactly the same three float32 coordinates (0 and -0 are the same).
 *
 * Method   open addressing over the coordinates' bits. Facets in a file lie near the ones they share corners with, so a
 *          small table of recently seen vertices answers most questions without a walk through main memory.
 * Order    vertices in the order of their first corner, so the result does not depend on the tables.
 * Memory   12 bytes a vertex and 4 bytes a slot, 2 to 4 slots a vertex.
 */
export class VertexWelder {
  positions: Float32Array;
  #bits: Int32Array;
  vertexCount = 0;
  #slots: Uint32Array;
  #mask: number;
  readonly #front: Uint32Array = new Uint32Array(FRONT_SLOTS).fill(EMPTY);

  /** @param expected vertices to make room for; more are no mistake, only slower */
  constructor(expected: number) {
    this.positions = new Float32Array(3 * Math.max(16, expected));
    this.#bits = new Int32Array(this.positions.buffer);
    let slots = 64;
    while (slots < 2 * expected) slots *= 2;
    this.#slots = new Uint32Array(slots).fill(EMPTY);
    this.#mask = slots - 1;
  }

  /**
   * Index of the vertex with these coordinates, given as the bits of float32 numbers (int32); a new one when it is the first.
   */
  index(x: number, y: number, z: number): number {
    if (x === MINUS_ZERO) x = 0;
    if (y === MINUS_ZERO) y = 0;
    if (z === MINUS_ZERO) z = 0;
    let hash = Math.imul(x, 0x9e3779b1) ^ Math.imul(y, 0x85ebca77) ^ Math.imul(z, 0xc2b2ae3d);
    hash = Math.imul(hash ^ (hash >>> 15), 0x2c1b3c6d);
    hash ^= hash >>> 13;
    const bits = this.#bits;
    const front = this.#front;
    const near = hash & (FRONT_SLOTS - 1);
    const recent = front[near];
    if (recent !== EMPTY) {
      const at = 3 * recent;
      if (bits[at] === x && bits[at + 1] === y && bits[at + 2] === z) return recent;
    }
    const slots = this.#slots;
    const mask = this.#mask;
    let slot = hash & mask;
    for (;;) {
      const vertex = slots[slot];
      if (vertex === EMPTY) break;
      const at = 3 * vertex;
      if (bits[at] === x && bits[at + 1] === y && bits[at + 2] === z) {
        front[near] = vertex;
        return vertex;
      }
      slot = (slot + 1) & mask;
    }
    const vertex = this.vertexCount++;
    if (3 * vertex + 3 > bits.length) this.#growPositions();
    const at = 3 * vertex;
    this.#bits[at] = x;
    this.#bits[at + 1] = y;
    this.#bits[at + 2] = z;
    slots[slot] = vertex;
    front[near] = vertex;
    if (2 * this.vertexCount > slots.length) this.#growSlots();
    return vertex;
  }

  #growPositions(): void {
    const larger = new Float32Array(3 * Math.ceil((1.5 * this.positions.length) / 3));
    larger.set(this.positions);
    this.positions = larger;
    this.#bits = new Int32Array(larger.buffer);
  }

  #growSlots(): void {
    const slots = new Uint32Array(2 * this.#slots.length).fill(EMPTY);
    const mask = slots.length - 1;
    const bits = this.#bits;
    for (let vertex = 0; vertex < this.vertexCount; vertex++) {
      const at = 3 * vertex;
      let hash =
        Math.imul(bits[at], 0x9e3779b1) ^ Math.imul(bits[at + 1], 0x85ebca77) ^ Math.imul(bits[at + 2], 0xc2b2ae3d);
      hash = Math.imul(hash ^ (hash >>> 15), 0x2c1b3c6d);
      hash ^= hash >>> 13;
      let slot = hash & mask;
      while (slots[slot] !== EMPTY) slot = (slot + 1) & mask;
      slots[slot] = vertex;
    }
    this.#slots = slots;
    this.#mask = mask;
  }

  /** Coordinates of the vertices, without spare room. The welder is of no use afterwards. */
  takePositions(): Float32Array {
    this.#slots = new Uint32Array(0);
    const { positions } = this;
    return positions.length === 3 * this.vertexCount ? positions : positions.slice(0, 3 * this.vertexCount);
  }
}

/** No vertex in a slot of the table. */
const EMPTY = -1;
/** Slots of a page: 2 kB. */
const PAGE_SLOTS = 256;
/** Slots looked at in a page before the search goes on at a place that does not depend on the cell. */
const MOST_IN_PAGE = 64;

/**
 * Gives one index to all corners with exactly the same three float32 coordinates (0 and -0 are the same).
 *
 * Method   open addressing. The page of the table in which a vertex is looked for depends only on the cell of space it
 *          lies in, and the slot in the page on all its bits: facets lie in a file near the ones they share corners
 *          with, so the search stays in a few pages that are in the cache. A full page (cells too large) sends the
 *          search to a slot chosen by all bits.
 * Order    vertices in the order of their first corner, so the result does not depend on the table.
 * Memory   12 bytes a vertex and 8 bytes a slot, 1.5 to 3 slots a vertex.
 */
export class VertexWelder {
  #positions: Float32Array;
  #bits: Int32Array;
  #vertexCount = 0;
  /** Two numbers a slot: hash and vertex. */
  #slots: Int32Array;
  #mask: number;
  /** Cells a unit of length; 0 for no cells. */
  readonly #cellsPerLength: number;
  readonly #corner: Float32Array = new Float32Array(3);
  readonly #cornerBits: Int32Array = new Int32Array(this.#corner.buffer);

  /**
   * @param expected vertices to make room for; more are no mistake, only slower
   * @param cellSize edge of the cells, best about four edges of a triangle; 0 for no cells
   */
  constructor(expected: number, cellSize = 0) {
    this.#positions = new Float32Array(3 * Math.max(16, expected));
    this.#bits = new Int32Array(this.#positions.buffer);
    let slots = PAGE_SLOTS;
    while (slots < 1.5 * expected) slots *= 2;
    this.#slots = new Int32Array(2 * slots).fill(EMPTY);
    this.#mask = slots - 1;
    const inverse = 1 / cellSize;
    this.#cellsPerLength = Number.isFinite(inverse) ? inverse : 0;
  }

  get vertexCount(): number {
    return this.#vertexCount;
  }

  /** Index of the vertex with these coordinates, rounded to float32; a new one when it is the first. */
  index(x: number, y: number, z: number): number {
    const corner = this.#cornerBits;
    // Adding 0 makes 0 of -0.
    this.#corner[0] = x + 0;
    this.#corner[1] = y + 0;
    this.#corner[2] = z + 0;
    const a = corner[0];
    const b = corner[1];
    const c = corner[2];
    const hash = mix(a, b, c);
    const mask = this.#mask;
    const slots = this.#slots;
    const bits = this.#bits;
    let slot = this.#firstSlot(x, y, z, hash) & mask;
    let left = MOST_IN_PAGE;
    for (;;) {
      const vertex = slots[2 * slot + 1];
      if (vertex === EMPTY) break;
      if (slots[2 * slot] === hash) {
        const at = 3 * vertex;
        if (bits[at] === a && bits[at + 1] === b && bits[at + 2] === c) return vertex;
      }
      slot = (--left === 0 ? hash : slot + 1) & mask;
    }
    const vertex = this.#vertexCount++;
    if (3 * vertex + 3 > bits.length) this.#growPositions();
    const at = 3 * vertex;
    this.#bits[at] = a;
    this.#bits[at + 1] = b;
    this.#bits[at + 2] = c;
    slots[2 * slot] = hash;
    slots[2 * slot + 1] = vertex;
    // At three quarters the searches get long.
    if (4 * this.#vertexCount > 3 * (mask + 1)) this.#growSlots();
    return vertex;
  }

  #firstSlot(x: number, y: number, z: number, hash: number): number {
    const scale = this.#cellsPerLength;
    if (scale === 0) return hash;
    const page = mix(Math.floor(x * scale) | 0, Math.floor(y * scale) | 0, Math.floor(z * scale) | 0);
    return Math.imul(page, PAGE_SLOTS) + (hash & (PAGE_SLOTS - 1));
  }

  #growPositions(): void {
    const larger = new Float32Array(3 * Math.ceil((1.5 * this.#positions.length) / 3));
    larger.set(this.#positions);
    this.#positions = larger;
    this.#bits = new Int32Array(larger.buffer);
  }

  #growSlots(): void {
    const slots = new Int32Array(2 * this.#slots.length).fill(EMPTY);
    const mask = slots.length / 2 - 1;
    const positions = this.#positions;
    const bits = this.#bits;
    for (let vertex = 0; vertex < this.#vertexCount; vertex++) {
      const at = 3 * vertex;
      const hash = mix(bits[at], bits[at + 1], bits[at + 2]);
      let slot = this.#firstSlot(positions[at], positions[at + 1], positions[at + 2], hash) & mask;
      for (let left = MOST_IN_PAGE; slots[2 * slot + 1] !== EMPTY; ) slot = (--left === 0 ? hash : slot + 1) & mask;
      slots[2 * slot] = hash;
      slots[2 * slot + 1] = vertex;
    }
    this.#slots = slots;
    this.#mask = mask;
  }

  /** Coordinates of the vertices, without spare room. The welder is of no use afterwards. */
  takePositions(): Float32Array {
    this.#slots = new Int32Array(0);
    const length = 3 * this.#vertexCount;
    return this.#positions.length === length ? this.#positions : this.#positions.slice(0, length);
  }
}

/** One number from three, in which every bit of each counts (multipliers of xxHash32). */
function mix(a: number, b: number, c: number): number {
  let hash = Math.imul(a ^ (a >>> 15), 0x9e3779b1);
  hash = Math.imul(((hash ^ (hash >>> 16)) + b) | 0, 0x85ebca77);
  hash = Math.imul(((hash ^ (hash >>> 15)) + c) | 0, 0xc2b2ae3d);
  return hash ^ (hash >>> 16);
}

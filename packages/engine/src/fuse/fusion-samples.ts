/**
 * Points that stand for pieces of one scan's surface: what the tiles average.
 *
 * Frames   positions in mm relative to the plan's origin, float64: the sums below must not see rounding of the input.
 */
export interface FusionSamples {
  /** Place in the plan's list of scan ids. */
  readonly scanIndex: number;
  readonly noise: number;
  readonly positions: Float64Array;
  readonly normals: Float32Array;
  /** Surface a sample stands for, mm^2. */
  readonly areas: Float32Array;
  /** Area times 1/sigma^2 times incidence times feather: its say in the average. */
  readonly weights: Float32Array;
  /** Standard uncertainty of the placement here, mm. */
  readonly sigmaPose: Float32Array;
  readonly colors: Uint8Array | null;
}

/** Collects samples one by one into growing arrays. */
export class SampleSink {
  count = 0;
  positions: Float64Array;
  normals: Float32Array;
  areas: Float32Array;
  /** Distance to the scan's border, mm, capped at the feather width. */
  borders: Float32Array;
  colors: Uint8Array | null;

  constructor(capacity: number, hasColors: boolean) {
    const size = Math.max(16, capacity);
    this.positions = new Float64Array(3 * size);
    this.normals = new Float32Array(3 * size);
    this.areas = new Float32Array(size);
    this.borders = new Float32Array(size);
    this.colors = hasColors ? new Uint8Array(3 * size) : null;
  }

  add(x: number, y: number, z: number, nx: number, ny: number, nz: number, area: number, border: number): number {
    if (this.count === this.areas.length) this.#grow();
    const i = this.count++;
    this.positions[3 * i] = x;
    this.positions[3 * i + 1] = y;
    this.positions[3 * i + 2] = z;
    this.normals[3 * i] = nx;
    this.normals[3 * i + 1] = ny;
    this.normals[3 * i + 2] = nz;
    this.areas[i] = area;
    this.borders[i] = border;
    return i;
  }

  setColor(i: number, red: number, green: number, blue: number): void {
    if (!this.colors) return;
    this.colors[3 * i] = Math.round(red);
    this.colors[3 * i + 1] = Math.round(green);
    this.colors[3 * i + 2] = Math.round(blue);
  }

  #grow(): void {
    const size = Math.ceil(this.areas.length * 1.6);
    const grow = <T extends Float64Array | Float32Array | Uint8Array>(from: T, to: T): T => {
      to.set(from);
      return to;
    };
    this.positions = grow(this.positions, new Float64Array(3 * size));
    this.normals = grow(this.normals, new Float32Array(3 * size));
    this.areas = grow(this.areas, new Float32Array(size));
    this.borders = grow(this.borders, new Float32Array(size));
    if (this.colors) this.colors = grow(this.colors, new Uint8Array(3 * size));
  }
}

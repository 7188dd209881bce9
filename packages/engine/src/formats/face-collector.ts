import { GrowingUint32 } from './growing-array.ts';
import { triangulatePolygon } from './polygon.ts';

/** Marks a triangle that is not to be kept. */
export const NO_VERTEX = 0xffffffff;

/**
 * Gathers the faces of a file as triangles.
 *
 * Polygons get their triangles' places at once and are cut when all vertices are known, since a file may give faces
 * before vertices. Indices are those of the file and are checked only in the end.
 */
export class FaceCollector {
  readonly triangles: GrowingUint32;
  /** Faces read, whole or not. */
  faceCount = 0;
  /** Faces with fewer than three corners. */
  shortFaceCount = 0;
  /** Polygons with so many corners that they were cut without regard to concave corners. */
  roughPolygonCount = 0;
  /** Face of each triangle, from the first on where the two differ. */
  #faceOfTriangle: GrowingUint32 | null = null;
  /** For each polygon: its first triangle, its corner count, its corners. */
  readonly #polygons = new GrowingUint32(64);

  constructor(triangleCapacity = 1024) {
    this.triangles = new GrowingUint32(3 * triangleCapacity);
  }

  get triangleCount(): number {
    return this.triangles.length / 3;
  }

  /** Every face so far is a triangle, so that triangle i is face i. */
  get isPlain(): boolean {
    return this.#faceOfTriangle === null;
  }

  addTriangle(a: number, b: number, c: number): void {
    const triangles = this.triangles;
    triangles.reserve(3);
    const at = triangles.length;
    triangles.values[at] = a;
    triangles.values[at + 1] = b;
    triangles.values[at + 2] = c;
    triangles.length = at + 3;
    this.#faceOfTriangle?.push(this.faceCount);
    this.faceCount++;
  }

  /** Adds a face of any number of corners. */
  addFace(corners: ArrayLike<number>, count: number): void {
    if (count === 3) {
      this.addTriangle(corners[0], corners[1], corners[2]);
      return;
    }
    this.#leaveIdentity();
    if (count < 3) {
      this.shortFaceCount++;
      this.faceCount++;
      return;
    }
    this.#polygons.reserve(count + 2);
    this.#polygons.push(this.triangleCount);
    this.#polygons.push(count);
    for (let i = 0; i < count; i++) this.#polygons.push(corners[i]);
    for (let i = 2; i < count; i++) {
      this.triangles.push(corners[0]);
      this.triangles.push(corners[i - 1]);
      this.triangles.push(corners[i]);
      this.#faceOfTriangle?.push(this.faceCount);
    }
    this.faceCount++;
  }

  #leaveIdentity(): void {
    if (this.#faceOfTriangle) return;
    this.#faceOfTriangle = new GrowingUint32(Math.max(1024, this.triangleCount));
    for (let i = 0; i < this.triangleCount; i++) this.#faceOfTriangle.push(i);
  }

  /** Cuts the polygons, now that the vertices are known. Polygons with wrong indices are marked as not to be kept. */
  cutPolygons(positions: Float32Array | Float64Array): void {
    const vertexCount = positions.length / 3;
    const { values, length } = this.#polygons;
    for (let at = 0; at < length; ) {
      const firstTriangle = values[at];
      const count = values[at + 1];
      const corners = values.subarray(at + 2, at + 2 + count);
      at += 2 + count;
      const target = this.triangles.values;
      if (corners.every((index) => index < vertexCount)) {
        if (!triangulatePolygon(positions, corners, target, 3 * firstTriangle)) this.roughPolygonCount++;
      } else {
        target.fill(NO_VERTEX, 3 * firstTriangle, 3 * (firstTriangle + count - 2));
      }
    }
  }

  /** Face of each triangle, or null when triangle i is face i. */
  faceOfTriangle(): Uint32Array | null {
    return this.#faceOfTriangle?.trimmed() ?? null;
  }
}

/** A surface while it is put together: as FusedSurface, with float64 positions relative to the plan's origin. */
export interface SurfaceArrays {
  readonly positions: Float64Array;
  readonly normals: Float32Array;
  readonly colors: Uint8Array | null;
  readonly colored: Uint8Array | null;
  readonly sourceOffsets: Uint32Array;
  readonly sourceScans: Uint16Array;
  readonly sourceShares: Uint8Array;
  readonly sigmaNoise: Float32Array;
  readonly sigmaAlignment: Float32Array;
  readonly disagreement: Float32Array;
  readonly triangles: Uint32Array;
}

/** The vertices listed in `order`, in that order, with all their attributes. A vertex may be taken twice or not at all. */
export function pickVertices<T extends Omit<SurfaceArrays, 'triangles'>>(
  from: T,
  order: Uint32Array,
): Omit<SurfaceArrays, 'triangles'> {
  const count = order.length;
  const sourceOffsets = new Uint32Array(count + 1);
  for (let n = 0; n < count; n++) {
    const i = order[n];
    sourceOffsets[n + 1] = sourceOffsets[n] + from.sourceOffsets[i + 1] - from.sourceOffsets[i];
  }
  const out = {
    positions: new Float64Array(3 * count),
    normals: new Float32Array(3 * count),
    colors: from.colors ? new Uint8Array(3 * count) : null,
    colored: from.colored ? new Uint8Array(count) : null,
    sourceOffsets,
    sourceScans: new Uint16Array(sourceOffsets[count]),
    sourceShares: new Uint8Array(sourceOffsets[count]),
    sigmaNoise: new Float32Array(count),
    sigmaAlignment: new Float32Array(count),
    disagreement: new Float32Array(count),
  };
  for (let n = 0; n < count; n++) {
    const i = order[n];
    for (let axis = 0; axis < 3; axis++) {
      out.positions[3 * n + axis] = from.positions[3 * i + axis];
      out.normals[3 * n + axis] = from.normals[3 * i + axis];
      if (out.colors && from.colors) out.colors[3 * n + axis] = from.colors[3 * i + axis];
    }
    if (out.colored && from.colored) out.colored[n] = from.colored[i];
    out.sigmaNoise[n] = from.sigmaNoise[i];
    out.sigmaAlignment[n] = from.sigmaAlignment[i];
    out.disagreement[n] = from.disagreement[i];
    for (let s = from.sourceOffsets[i], to = sourceOffsets[n]; s < from.sourceOffsets[i + 1]; s++, to++) {
      out.sourceScans[to] = from.sourceScans[s];
      out.sourceShares[to] = from.sourceShares[s];
    }
  }
  return out;
}

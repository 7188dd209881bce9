import type { Random } from '../../src/base/index.ts';
import { FormatError } from '../../src/base/index.ts';
import { BOX_TRIANGLES, Bytes, binaryStl, readBytes } from './sample-files.ts';

/** Small valid files, one of each kind of reader. */
export function seedFiles(): { name: string; bytes: Uint8Array }[] {
  const encode = (text: string): Uint8Array => new TextEncoder().encode(text);
  const vertices = Array.from({ length: 40 }, (_, i) => [i % 7, Math.floor(i / 7), 0.25 * i, i, 255 - i, 7]);
  const faces = Array.from({ length: 30 }, (_, i) => [i, i + 1, i + 2]);
  const header = (format: string, faceList = 'property list uchar int vertex_indices'): string =>
    `ply\nformat ${format} 1.0\ncomment unit: mm\nelement vertex 40\nproperty float x\nproperty float y\nproperty double z\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nelement face 31\n${faceList}\nend_header\n`;
  const ascii = `${header('ascii')}${vertices.map((row) => `${row.join(' ')}\n`).join('')}${faces.map((face) => `3 ${face.join(' ')}\n`).join('')}5 0 1 2 8 7\n`;
  const binary = (endian: 'little' | 'big'): Uint8Array => {
    const out = new Bytes().text(header(`binary_${endian}_endian`));
    for (const row of vertices) {
      out.number('Float32', row[0], endian).number('Float32', row[1], endian).number('Float64', row[2], endian);
      out.raw(row[3], row[4], row[5]);
    }
    for (const face of faces) {
      out.raw(3);
      for (const index of face) out.number('Int32', index, endian);
    }
    out.raw(5);
    for (const index of [0, 1, 2, 8, 7]) out.number('Int32', index, endian);
    return out.done();
  };
  const grid = `ply\nformat ascii 1.0\nobj_info num_cols 8\nobj_info num_rows 5\nelement vertex 40\nproperty float x\nproperty float y\nproperty float z\nelement range_grid 40\nproperty list uchar int vertex_indices\nend_header\n${Array.from({ length: 40 }, (_, i) => `${i % 8} ${Math.floor(i / 8)} ${(i * 7) % 3}\n`).join('')}${Array.from({ length: 40 }, (_, i) => `1 ${i}\n`).join('')}`;
  const asciiStl = `solid box\n${BOX_TRIANGLES.map((t) => `facet normal 0 0 1\nouter loop\nvertex ${t.slice(0, 3).join(' ')}\nvertex ${t.slice(3, 6).join(' ')}\nvertex ${t.slice(6).join(' ')}\nendloop\nendfacet\n`).join('')}endsolid box\n`;
  const obj = `# unit: mm\no box\n${vertices.map((row) => `v ${row.slice(0, 3).join(' ')}\n`).join('')}vn 0 0 1\n${faces.map((face) => `f ${face.map((i) => i + 1).join(' ')}\n`).join('')}f -1 -2 -9 \\\n-8\n`;
  const off = `OFF\n40 31 0\n${vertices.map((row) => `${row.slice(0, 3).join(' ')}\n`).join('')}${faces.map((face) => `3 ${face.join(' ')}\n`).join('')}5 0 1 2 8 7\n`;
  const pcdHeader = (data: string): string =>
    `# .PCD v0.7\nVERSION 0.7\nFIELDS x y z rgb\nSIZE 4 4 4 4\nTYPE F F F U\nCOUNT 1 1 1 1\nWIDTH 40\nHEIGHT 1\nVIEWPOINT 0 0 0 1 0 0 0\nPOINTS 40\nDATA ${data}\n`;
  const pcd = `${pcdHeader('ascii')}${vertices.map((row) => `${row.slice(0, 3).join(' ')} 8421504\n`).join('')}`;
  const pcdBytes = new Bytes();
  for (const row of vertices) for (const value of row.slice(0, 4)) pcdBytes.number('Float32', value);
  const body = pcdBytes.done();
  // LZF of literals only: runs of 32 bytes behind their length.
  const packed = new Bytes();
  for (let at = 0; at < body.length; at += 32) packed.raw(31, ...body.subarray(at, at + 32));
  const lzf = packed.done();
  return [
    { name: 'a.ply', bytes: encode(ascii) },
    { name: 'b.ply', bytes: binary('little') },
    { name: 'c.ply', bytes: binary('big') },
    { name: 'd.ply', bytes: encode(grid) },
    { name: 'a.stl', bytes: encode(asciiStl) },
    { name: 'b.stl', bytes: binaryStl('solid box', BOX_TRIANGLES) },
    { name: 'a.obj', bytes: encode(obj) },
    { name: 'a.off', bytes: encode(off) },
    { name: 'a.pcd', bytes: encode(pcd) },
    {
      name: 'b.pcd',
      bytes: new Bytes()
        .text(pcdHeader('binary'))
        .raw(...body)
        .done(),
    },
    {
      name: 'c.pcd',
      bytes: new Bytes()
        .text(pcdHeader('binary_compressed'))
        .number('Uint32', lzf.length)
        .number('Uint32', body.length)
        .raw(...lzf)
        .done(),
    },
    { name: 'a.csv', bytes: encode(`x_mm,y_mm,z_mm,r,g,b\n${vertices.map((row) => `${row.join(',')}\n`).join('')}`) },
    { name: 'a.xyz', bytes: encode(vertices.map((row) => `${row.slice(0, 3).join(' ')}\n`).join('')) },
  ];
}

const COUNTS = [
  '0',
  '1',
  '2',
  '39',
  '41',
  '65536',
  '4294967295',
  '4294967294',
  '99999999999999999999',
  '-1',
  '1e9',
  'x',
];
const WORDS = [0, 1, 11, 13, 0x7fffffff, 0x80000000, 0xffffffff, 0xfffffffe, 0x01000000];

/** Damages bytes in one of the ways files get damaged: cut, flipped, counts that lie, endless headers, mixed pieces. */
export function damage(bytes: Uint8Array, random: Random): Uint8Array {
  const out = bytes.slice();
  switch (random.integer(7)) {
    case 0:
      return out.subarray(0, random.integer(out.length + 1));
    case 1:
      for (let i = random.integer(8); i >= 0; i--) out[random.integer(out.length)] ^= 1 << random.integer(8);
      return out;
    case 2: {
      // Another count where a number stands in the first part.
      const text = Buffer.from(out).toString('latin1');
      const numbers = [...text.slice(0, 400).matchAll(/\d+/g)];
      if (numbers.length === 0) return out;
      const chosen = numbers[random.integer(numbers.length)];
      const count = COUNTS[random.integer(COUNTS.length)];
      return Buffer.from(text.slice(0, chosen.index) + count + text.slice(chosen.index + chosen[0].length), 'latin1');
    }
    case 3: {
      const view = new DataView(out.buffer, out.byteOffset, out.length);
      const at = random.integer(2) === 0 && out.length > 84 ? 80 : random.integer(Math.max(1, out.length - 4));
      if (at + 4 <= out.length) view.setUint32(at, WORDS[random.integer(WORDS.length)], random.integer(2) === 0);
      return out;
    }
    case 4: {
      // A line many times over.
      const text = Buffer.from(out).toString('latin1');
      const lines = text.split('\n');
      const line = random.integer(Math.min(12, lines.length));
      lines.splice(line, 0, ...Array.from({ length: 10 ** (1 + random.integer(4)) }, () => lines[line].slice(0, 50)));
      return Buffer.from(lines.join('\n'), 'latin1');
    }
    case 5: {
      // A piece moved elsewhere.
      const length = random.integer(Math.min(200, out.length));
      out.copyWithin(random.integer(out.length), random.integer(out.length), length);
      return out;
    }
    default: {
      const length = random.integer(40);
      const at = random.integer(out.length);
      return Buffer.concat([
        out.subarray(0, at),
        Buffer.from(Array.from({ length }, () => random.integer(256))),
        out.subarray(at),
      ]);
    }
  }
}

/**
 * Reads damaged bytes and says what is wrong with the answer: null when they are refused in the proper way or give a
 * sound scan.
 */
export async function faultOf(name: string, bytes: Uint8Array): Promise<string | null> {
  try {
    const scan = await readBytes(name, bytes);
    const count = scan.positions.length / 3;
    if (!Number.isInteger(count) || count === 0) return `${count} points`;
    if (!scan.positions.every(Number.isFinite)) return 'a point is not finite';
    if (scan.triangles?.some((index) => index >= count)) return 'a triangle points to no vertex';
    if (scan.triangles && scan.triangles.length % 3 !== 0) return 'broken triangles';
    if (scan.normals && scan.normals.length !== 3 * count) return 'normals do not match';
    if (scan.colors && scan.colors.length !== 3 * count) return 'colours do not match';
    if (scan.faceOfTriangle && scan.faceOfTriangle.length !== (scan.triangles?.length ?? 0) / 3)
      return 'faces do not match';
    if (count > 100 * (bytes.length + 1)) return `${count} points from ${bytes.length} bytes`;
    return null;
  } catch (error) {
    if (!(error instanceof FormatError)) return `${error}\n${error instanceof Error ? error.stack : ''}`;
    // Would mean that a count was believed and memory asked for it.
    if (error.code === 'scan-too-large') return error.message;
    if (error.hint.length < 10 || error.message.length < 10) return `no help in "${error.message}"`;
    return null;
  }
}

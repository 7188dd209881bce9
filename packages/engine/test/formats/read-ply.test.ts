import { describe, expect, it } from 'vitest';
import { FormatError } from '../../src/base/index.ts';
import { toScanData } from '../../src/formats/index.ts';
import { Bytes, codesOf, type Endian, readBytes } from './sample-files.ts';

/** Two triangles with colours and normals, in any encoding; properties in an order no writer uses. */
function mixedPly(encoding: 'ascii' | Endian, lineEnd = '\n', comment = 'comment made by hand'): Uint8Array {
  const vertices = [
    [255, 0, 10, 0, 0, 1, 7, 0.5, 1.25, -3],
    [0, 128, 20, 0, 1, 0, 8, 1.5, 2.25, -4],
    [1, 2, 30, 1, 0, 0, 9, 2.5, 3.25, -5],
    [9, 8, 40, 0, 0, -1, 10, 3.5, 4.25, -6],
  ];
  const faces = [
    [0, 1, 2],
    [2, 1, 3],
  ];
  const format = encoding === 'ascii' ? 'ascii' : `binary_${encoding}_endian`;
  const header = [
    'ply',
    `format ${format} 1.0`,
    comment,
    'element vertex 4',
    'property uchar blue',
    'property uint8 red',
    'property uchar green',
    'property float nx',
    'property float ny',
    'property float nz',
    'property short quality',
    'property float z',
    'property float32 y',
    'property float x',
    'element strange 1',
    'property list uchar double things',
    'property int other',
    'element face 2',
    'property list uchar int vertex_index',
    'end_header',
  ];
  const out = new Bytes().text(header.join(lineEnd) + lineEnd);
  if (encoding === 'ascii') {
    out.text(vertices.map((row) => row.join(' ') + lineEnd).join(''));
    out.text(`2 1.5 2.5 -7${lineEnd}`);
    out.text(faces.map((face) => `3 ${face.join(' ')}${lineEnd}`).join(''));
    return out.done();
  }
  for (const row of vertices) {
    for (let k = 0; k < 3; k++) out.number('Uint8', row[k]);
    for (let k = 3; k < 6; k++) out.number('Float32', row[k], encoding);
    out.number('Int16', row[6], encoding);
    for (let k = 7; k < 10; k++) out.number('Float32', row[k], encoding);
  }
  out
    .number('Uint8', 2)
    .number('Float64', 1.5, encoding)
    .number('Float64', 2.5, encoding)
    .number('Int32', -7, encoding);
  for (const face of faces) {
    out.number('Uint8', 3);
    for (const index of face) out.number('Int32', index, encoding);
  }
  return out.done();
}

function cloudPly(rows: string[], stated = rows.length, properties = ['float x', 'float y', 'float z']): string {
  return `ply\nformat ascii 1.0\nelement vertex ${stated}\n${properties.map((p) => `property ${p}\n`).join('')}end_header\n${rows.map((row) => `${row}\n`).join('')}`;
}

describe('readScanFile on PLY', () => {
  it.each(['ascii', 'little', 'big'] as const)('reads any order and type of properties: %s', async (encoding) => {
    const scan = await readBytes('mixed.ply', mixedPly(encoding), { properties: ['quality'] });
    expect(scan.format).toBe('ply');
    expect([...scan.positions]).toEqual([-3, 1.25, 0.5, -4, 2.25, 1.5, -5, 3.25, 2.5, -6, 4.25, 3.5]);
    expect([...(scan.normals ?? [])]).toEqual([0, 0, 1, 0, 1, 0, 1, 0, 0, 0, 0, -1]);
    expect([...(scan.colors ?? [])]).toEqual([0, 10, 255, 128, 20, 0, 2, 30, 1, 8, 40, 9]);
    expect([...(scan.triangles ?? [])]).toEqual([0, 1, 2, 2, 1, 3]);
    expect([...scan.properties['quality']]).toEqual([7, 8, 9, 10]);
    expect(scan.recordOfPoint).toBeNull();
    expect(scan.faceOfTriangle).toBeNull();
  });

  it('counts the header in bytes: CR LF lines and comments in any encoding [field report 52]', async () => {
    const plain = await readBytes('a.ply', mixedPly('little'));
    for (const lineEnd of ['\n', '\r\n', '\r']) {
      const scan = await readBytes('a.ply', mixedPly('little', lineEnd, 'comment größte Länge – 大きい'));
      expect([...scan.positions]).toEqual([...plain.positions]);
      expect([...(scan.triangles ?? [])]).toEqual([...(plain.triangles ?? [])]);
    }
  });

  it('takes a first data byte that looks like a line feed for data where lines end with CR', async () => {
    const header =
      'ply\rformat binary_little_endian 1.0\relement vertex 1\rproperty uchar x\rproperty uchar y\rproperty uchar z\rend_header\r';
    const scan = await readBytes('cr.ply', new Bytes().text(header).raw(10, 20, 30).done());
    expect([...scan.positions]).toEqual([10, 20, 30]);
  });

  it.each(['vertex_index', 'vertex_indices'])('knows corners as %s [field report 52]', async (name) => {
    const text = `${cloudPly(['0 0 0', '1 0 0', '0 1 0']).replace('end_header', `element face 1\nproperty list uchar int ${name}\nend_header`)}3 0 1 2\n`;
    expect([...((await readBytes('a.ply', text)).triangles ?? [])]).toEqual([0, 1, 2]);
  });

  it('keeps float64 coordinates: micrometres at a million survive [field report 7]', async () => {
    const x = [1_000_000.001, 1_000_000.002, 1_000_000.0035];
    const out = new Bytes().text(
      'ply\nformat binary_big_endian 1.0\nelement vertex 3\nproperty double x\nproperty double y\nproperty double z\nend_header\n',
    );
    for (const value of x)
      out.number('Float64', value, 'big').number('Float64', 5.4e6, 'big').number('Float64', -value, 'big');
    const raw = await readBytes('far.ply', out.done());
    expect(raw.positions).toBeInstanceOf(Float64Array);
    expect([0, 1, 2].map((i) => raw.positions[3 * i])).toEqual(x);
    const scan = toScanData(raw, 'mm');
    for (let i = 0; i < 3; i++) expect(Math.abs(scan.origin[0] + scan.positions[3 * i] - x[i])).toBeLessThan(1e-9);
    // Narrowed to float32 first, the first two would be one and the same number.
    expect(Math.fround(x[0])).toBe(Math.fround(x[1]));
  });

  it('keeps the digits of text that its declared type cannot hold', async () => {
    const raw = await readBytes('far.ply', cloudPly(['5400000.001 0 0', '5400000.002 0 0', '0 1 0']));
    expect(raw.positions[0]).toBe(5400000.001);
  });

  it.each([
    ['uchar', ['255', '128', '0'], [255, 128, 0]],
    ['ushort', ['65535', '32768', '0'], [255, 128, 0]],
    ['float', ['1.0', '0.5', '0'], [255, 128, 0]],
    ['double', ['255', '128', '0'], [255, 128, 0]],
  ] as const)('scales colours of type %s', async (type, row, expected) => {
    const properties = ['float x', 'float y', 'float z', `${type} red`, `${type} green`, `${type} blue`];
    const scan = await readBytes('c.ply', cloudPly([`0 0 0 ${row.join(' ')}`], 1, properties));
    expect([...(scan.colors ?? [])]).toEqual(expected);
  });

  it('cuts polygons, concave ones too, and keeps which face a triangle is of', async () => {
    const rows = ['0 0 0', '4 0 0', '4 4 0', '2 1 0', '0 4 0'];
    const text = `${cloudPly(rows).replace('end_header', 'element face 2\nproperty list uchar int vertex_indices\nend_header')}5 0 1 2 3 4\n3 0 1 2\n`;
    const scan = await readBytes('arrow.ply', text);
    expect(scan.counts.facesRead).toBe(2);
    expect([...(scan.faceOfTriangle ?? [])]).toEqual([0, 0, 0, 1]);
    const corners = [...(scan.triangles ?? [])].slice(0, 9);
    const signed = [0, 3, 6].map((i) => {
      const [a, b, c] = corners.slice(i, i + 3).map((v) => [scan.positions[3 * v], scan.positions[3 * v + 1]]);
      return ((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])) / 2;
    });
    // Shoelace area of the arrow is 10; a fan from its first corner would give a negative triangle.
    expect(Math.min(...signed)).toBeGreaterThan(0);
    expect(signed.reduce((sum, value) => sum + value)).toBe(10);
  });

  it('reads triangle strips', async () => {
    const text = `${cloudPly(['0 0 0', '1 0 0', '0 1 0', '1 1 0']).replace('end_header', 'element tristrips 1\nproperty list int int vertex_indices\nend_header')}8 0 1 2 3 -1 1 3 2\n`;
    expect([...((await readBytes('s.ply', text)).triangles ?? [])]).toEqual([0, 1, 2, 2, 1, 3, 1, 3, 2]);
  });

  it('drops points that are not finite once, counted, with their triangles [field report 60]', async () => {
    const rows = Array.from({ length: 1000 }, (_, i) =>
      i === 500 ? 'nan 0 0' : i === 501 ? '0 -inf 0' : `${i} ${i % 7} 1`,
    );
    const text = `${cloudPly(rows).replace('end_header', 'element face 3\nproperty list uchar int vertex_indices\nend_header')}3 0 1 2\n3 499 500 501\n3 997 998 999\n`;
    const scan = await readBytes('n.ply', text);
    expect(scan.counts).toMatchObject({ pointsStated: 1000, pointsRead: 1000, pointsDropped: 2, trianglesDropped: 1 });
    expect(scan.positions.length).toBe(3 * 998);
    expect(scan.positions.every(Number.isFinite)).toBe(true);
    expect([...(scan.triangles ?? [])]).toEqual([0, 1, 2, 995, 996, 997]);
    expect(scan.recordOfPoint?.[500]).toBe(502);
    expect([...(scan.faceOfTriangle ?? [])]).toEqual([0, 2]);
    expect(codesOf(scan)).toContain('scan-points-not-finite');
  });

  it('drops and counts faces that point nowhere', async () => {
    const text = `${cloudPly(['0 0 0', '1 0 0', '0 1 0']).replace('end_header', 'element face 4\nproperty list uchar int vertex_indices\nend_header')}3 0 1 2\n3 0 1 3\n4 0 1 2 -1\n2 0 1\n`;
    const scan = await readBytes('f.ply', text);
    expect(scan.counts).toMatchObject({ facesRead: 4, facesDropped: 3 });
    expect([...(scan.triangles ?? [])]).toEqual([0, 1, 2]);
    expect(scan.findings.find(({ code }) => code === 'scan-faces-invalid')?.severity).toBe('warning');
  });

  it('loads what is there when faces are fewer than stated, and says what is missing [field report 52]', async () => {
    for (const encoding of ['ascii', 'little', 'big'] as const) {
      const bytes = mixedPly(encoding);
      const cut = await readBytes('cut.ply', bytes.subarray(0, bytes.length - (encoding === 'ascii' ? 8 : 13)));
      expect(cut.positions.length).toBe(12);
      expect([...(cut.triangles ?? [])]).toEqual([0, 1, 2]);
      const finding = cut.findings.find(({ code }) => code === 'scan-truncated');
      expect(finding?.severity).toBe('warning');
      expect(finding?.message).toContain('1 of 2 records of "face"');
    }
  });

  it('does not take half a number at the end of a cut text for a whole one', async () => {
    const text = cloudPly(['1.5 2.5 3.5', '4.5 5.5 6.75', '7 8 9']);
    const scan = await readBytes('cut.ply', text.slice(0, text.indexOf('6.75') + 2));
    expect([...scan.positions]).toEqual([1.5, 2.5, 3.5]);
    expect(codesOf(scan)).toContain('scan-truncated');
  });

  it('warns about data that the header does not count', async () => {
    expect(codesOf(await readBytes('m.ply', cloudPly(['0 0 0', '1 1 1', '2 2 2', '3 3 3'], 3)))).toContain(
      'scan-data-left-over',
    );
  });

  it('refuses text under a binary header, and binary data under a text header', async () => {
    const text = cloudPly(['0.5 0.25 1', '1 1 1', '2 2 2']).replace('ascii', 'binary_little_endian');
    await expect(readBytes('t.ply', text)).rejects.toMatchObject({ code: 'ply-text-as-binary' });
    const binary = new Bytes().text(cloudPly([], 2));
    for (const value of [0.1, 0.2, 0.3, 0.4, 0.5, 0.6]) binary.number('Float32', value);
    await expect(readBytes('b.ply', binary.done())).rejects.toBeInstanceOf(FormatError);
  });

  it('refuses vertices that are really faces: a count that lies upwards', async () => {
    const text = `${cloudPly(['0 0 0', '1 0 0', '0 1 0'], 5).replace('end_header', 'element face 2\nproperty list uchar int vertex_indices\nend_header')}3 0 1 2\n3 0 1 2\n`;
    await expect(readBytes('lie.ply', text)).rejects.toMatchObject({ code: 'ply-record-length', place: { line: 13 } });
  });

  it.each(['float', 'double'] as const)('refuses binary vertices (%s) that are really faces', async (type) => {
    const header = (count: number): string =>
      `ply\nformat binary_little_endian 1.0\nelement vertex ${count}\nproperty ${type} x\nproperty ${type} y\nproperty ${type} z\nelement face 40\nproperty list uchar int vertex_indices\nend_header\n`;
    const file = (count: number): Uint8Array => {
      const out = new Bytes().text(header(count));
      for (let i = 0; i < 60; i++) out.number(type === 'float' ? 'Float32' : 'Float64', 0.5 + i);
      for (let i = 0; i < 40; i++) out.raw(3, i % 20, 0, 0, 0, (i + 1) % 20, 0, 0, 0, (i + 2) % 20, 0, 0, 0);
      return out.done();
    };
    expect((await readBytes('right.ply', file(20))).counts).toMatchObject({ pointsRead: 20, facesRead: 40 });
    for (const count of [21, 25, 40, 1000]) {
      const outcome = await readBytes('lie.ply', file(count)).then(
        () => 'read',
        (error: FormatError) => error.code,
      );
      expect(['ply-counts-wrong', 'scan-coordinates-absurd']).toContain(outcome);
    }
  });

  it('states line and hint for a broken header', async () => {
    await expect(readBytes('h.ply', 'ply\nformat ascii 1.0\nelement vertex many\nend_header\n')).rejects.toMatchObject({
      code: 'ply-count-invalid',
      place: { line: 3, file: 'h.ply' },
    });
    await expect(readBytes('h.ply', 'ply\nformat ascii 1.0\nelement vertex 3\n')).rejects.toMatchObject({
      code: 'ply-header-incomplete',
    });
    await expect(
      readBytes('h.ply', 'ply\nformat ascii 1.0\nelement vertex 1\nproperty long x\nend_header\n'),
    ).rejects.toMatchObject({ code: 'ply-type-unknown' });
  });

  it.each([
    ['comment unit: mm', 'mm'],
    ['comment units inch', 'in'],
    ['obj_info unit: m', 'm'],
    ['comment Unit=cm', 'cm'],
    ['comment one unit of the series', null],
    ['comment unit: parsec', null],
  ] as const)('reads the unit from "%s"', async (line, unit) => {
    const text = cloudPly(['0 0 0', '1 2 3', '4 5 6']).replace('element vertex', `${line}\nelement vertex`);
    expect((await readBytes('u.ply', text)).statedUnit).toBe(unit);
  });
});

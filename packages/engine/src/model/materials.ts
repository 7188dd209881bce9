/** Linear thermal expansion of a material near room temperature. */
export interface ThermalMaterial {
  readonly id: string;
  readonly title: string;
  /** Coefficient, 1/K. */
  readonly expansion: number;
  /** The true coefficient lies within +- this, 1/K. */
  readonly halfWidth: number;
  readonly source: string;
}

const CALLISTER = 'W. Callister, Materials Science and Engineering, table B.6';
const PLASTICS_TABLE = 'tables of makers and handbooks, which disagree';

/** In 1e-6/K, as tables print them. */
function material(
  id: string,
  title: string,
  expansion: number,
  halfWidth: number,
  source = CALLISTER,
): ThermalMaterial {
  return { id, title, expansion: expansion * 1e-6, halfWidth: halfWidth * 1e-6, source };
}

/** Plastics of one name differ by grade, filler and moisture, and tables by a factor of two: +- 40 %. */
function plastic(id: string, title: string, expansion: number, source = CALLISTER): ThermalMaterial {
  return material(id, title, expansion, 0.4 * expansion, source);
}

/**
 * Materials by id.
 *
 * Bands    a stated alloy +- 5 % and glass +- 5 %; a kind of metal as wide as its alloys in the table, since steel of one
 *          name goes from 11.2 to 14.6 in different books, by the range of temperature they mean (NIST); plastics and resins
 *          +- 40 %. Where a coefficient decides over the result, measure it or look it up for the very grade.
 */
export const THERMAL_MATERIALS: readonly ThermalMaterial[] = [
  material('steel', 'Steel, kind not known', 11.5, 1.5, 'ISO 1 practice; bands of tables'),
  material('steel-a36', 'Steel A36', 11.7, 0.6),
  material('steel-1020', 'Steel 1020', 11.7, 0.6),
  material('steel-1040', 'Steel 1040', 11.3, 0.6),
  material('steel-4140', 'Steel 4140', 12.3, 0.6),
  material('steel-4340', 'Steel 4340', 12.3, 0.6),
  material(
    'stainless',
    'Stainless steel, kind not known',
    14,
    3.5,
    'Callister, table B.6: kinds 304, 316 and 405 together',
  ),
  material('stainless-304', 'Stainless steel 304', 17.2, 0.9),
  material('stainless-316', 'Stainless steel 316', 15.9, 0.8),
  material('stainless-405', 'Stainless steel 405', 10.8, 0.5),
  material('grey-iron', 'Grey cast iron', 11.4, 1.1),
  material('ductile-iron', 'Ductile cast iron', 11.2, 1.1),
  material('aluminium', 'Aluminium, alloy not known', 22.8, 1.3, 'Callister, table B.6: alloys together'),
  material('aluminium-1100', 'Aluminium 1100', 23.6, 1.2),
  material('aluminium-6061', 'Aluminium 6061', 23.6, 1.2),
  material('aluminium-2024', 'Aluminium 2024', 22.9, 1.1),
  material('aluminium-7075', 'Aluminium 7075', 23.4, 1.2),
  material('aluminium-356', 'Aluminium 356.0', 21.5, 1.1),
  material('invar', 'Invar', 1.6, 0.8),
  material('glass', 'Soda-lime glass', 9, 0.5),
  material('borosilicate', 'Borosilicate glass', 3.3, 0.2),
  plastic('abs', 'ABS', 90, PLASTICS_TABLE),
  plastic('abs-glass', 'ABS with glass fibre', 31, PLASTICS_TABLE),
  plastic('polycarbonate', 'Polycarbonate', 94, 'Callister, table B.6: 122; other tables: 65'),
  plastic('pmma', 'Acrylic (PMMA)', 126),
  plastic('polypropylene', 'Polypropylene', 163),
  plastic('polystyrene', 'Polystyrene', 120),
  plastic('nylon-66', 'Nylon 6,6', 144),
  plastic('pvc', 'PVC', 135),
  plastic('epoxy', 'Epoxy, unfilled', 99),
  plastic('glass-epoxy-along', 'Glass fibre in epoxy (60 %), along the fibre', 6.6),
  plastic('glass-epoxy-across', 'Glass fibre in epoxy (60 %), across the fibre', 30),
  // The coefficient passes through zero: a share of it would be no band.
  material('carbon-epoxy-along', 'Carbon fibre (high modulus) in epoxy, along the fibre', -0.5, 0.5),
  plastic('carbon-epoxy-across', 'Carbon fibre (high modulus) in epoxy, across the fibre', 32),
];

/** The material with an id, or null. */
export function findThermalMaterial(id: string): ThermalMaterial | null {
  return THERMAL_MATERIALS.find((m) => m.id === id) ?? null;
}

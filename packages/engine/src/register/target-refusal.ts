/** Why two target lists give no pose. */
export type TargetRefusal = 'too-few-targets' | 'collinear' | 'no-match' | 'chance' | 'mirrored' | 'ambiguous';

/** Words for a refusal: what was found, and what would cure it. */
export function describeTargetRefusal(
  reason: TargetRefusal,
  numbers: { readonly a: number; readonly b: number; readonly matched?: number; readonly rival?: number },
): { message: string; remedy: string } {
  const lists = `The lists hold ${numbers.a} and ${numbers.b} targets`;
  switch (reason) {
    case 'too-few-targets':
      return {
        message: `${lists}; a pose needs three in common.`,
        remedy:
          'Measure at least three common targets that are not on one line, better six to eight around the volume.',
      };
    case 'collinear':
      return {
        message: `${lists}, and those of one list lie on one line: nothing holds the turn about it.`,
        remedy: 'Measure a common target well to the side of the line.',
      };
    case 'no-match':
      return {
        message: `${lists}; no three of them have the same mutual distances within their uncertainties.`,
        remedy: 'Check that both lists show the same targets, their units, and whether the stated sigma is honest.',
      };
    case 'chance':
      return {
        message: `${lists}; the ${numbers.matched} that fit together could fit by chance.`,
        remedy: 'Measure more common targets, or give equal names to equal targets.',
      };
    case 'mirrored':
      return {
        message: `${lists}; ${numbers.matched} of them fit as a mirror image, fewer as a motion.`,
        remedy: 'One of the lists has left-handed coordinates, or an axis with the wrong sign: export it again.',
      };
    case 'ambiguous':
      return {
        message: `${lists}; one pose fits ${numbers.matched} of them, another ${numbers.rival}: the layout repeats itself, and the lists cannot tell which is right.`,
        remedy: 'Add a target that breaks the regular layout, give equal names to equal targets, or pick three pairs.',
      };
  }
}

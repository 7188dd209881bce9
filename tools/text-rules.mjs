// What counts as a text that people see, and how the sources write one.
import ts from 'typescript';

/** Files whose strings are parts of file formats or of drawings, not texts; errors and findings in them still count. */
export const ONLY_MESSAGES =
  /engine\/src\/(formats|geometry|math|simulate|covariance)\/|jobs\/src\/(store|pool)\/|color-maps|report-style|encode-png|base\/translate|escape-html|translate-report/;

/** Texts of the library that reads the command line, and answers. */
export const LIBRARY_TEXTS = [
  'Usage:',
  'Options:',
  'Arguments:',
  'Commands:',
  "error: unknown option '{0=}'",
  "error: unknown command '{0=}'",
  "error: missing required argument '{0=}'",
  "error: option '{0=}' argument missing",
  "error: option '{0=}' argument '{1=}' is invalid. {2*}",
  "error: command-argument value '{0=}' is invalid for argument '{1=}'. {2*}",
  'error: too many arguments. Expected {0} argument but got {1}.',
  'error: too many arguments. Expected {0} arguments but got {1}.',
  "error: too many arguments for '{0=}'. Expected {1} argument but got {2}.",
  "error: too many arguments for '{0=}'. Expected {1} arguments but got {2}.",
  'Allowed choices are {0=}.',
  '(Did you mean {0=}?)',
  '(Did you mean one of {0=}?)',
  '{0*} (choices: {1=})',
  // The first line of a job's history; between texts in a row; answers to a question.
  'new job {0=}',
  'and',
  'y',
  'yes',
  'n',
  'no',
];

/** Properties, parameters and variables that hold texts; what stands in a place of such a name is translated in turn. */
export const TEXT_NAMES =
  /(message|remedy|hint|question|summary|reason|meaning|description|caption|heading|title|label|words?|note|text|shows|holds|content|evidence|change|advice|why|what|how|caution|phrase|clause|sentence|beyond|weakdirections?|directions?|unknown|part|nextundo|nextredo|next|done|end|rest|place|pattern|detail|explanation|statement|status|verdict|state|kind|from|direction|basis|effect|cause|mark|source)s?$/i;
/** Names that are shown as they are. */
export const NAME_NAMES =
  /^(name|file|files|path|folder|output|frames?|frame[AB]|session|id|ids|scan|scans|target|targets|subject|unit|units|command|option|flag|version|sha256|code|instrument|url|seed|feature|job|jobName|host|ending|proposal|statedUnit|date|time|ENGINE_VERSION|scanA|scanB|element|column|columns|key|property|keyword)$/;
/** Arguments, by the name of the function, that are never texts. */
export const OPAQUE_CALLS =
  /^(random|includes|has|get|set|startsWith|endsWith|split|indexOf|lastIndexOf|match|test|replace|replaceAll|require|resolve|createHash|digest|update|toString|padStart|padEnd|TextDecoder|TextEncoder|RegExp|Error|TypeError|RangeError|SyntaxError|on|off|once|emit|localeCompare|readFile|writeFile|open|createReadStream|URL|Symbol|delete|hashText|makeRandom|part64|run|task|Option\.choices|choices|dispatch|runTask|join)$/;
export const TEXT_PROPERTIES =
  /^(message|remedy|hint|question|meaning|description|caption|heading|title|label|note|text|shows|words|holds|name|evidence|advice|why|value|content|unknown|frame|summary|detail|statement)$/;
/** Properties that are codes for programs. */
export const CODE_PROPERTIES =
  /^(code|schema|severity|event|class|type|encoding|flag|flags|subject|id|kind|role|status|state|source|unitSource|stream|format|barCompleteChar|barIncompleteChar|method|algorithm|sha256|mode|task|conditions|from|language|unit|up|axis|loss)$/;

export const isLetters = (text) => /\p{L}{2}/u.test(text);
export const UNITS = new Set(['mm', 'cm', 'kB', 'MB', 'deg', 'rad', 'ppm', 'min', 'um', 'utf', 'ft', 'in']);

export const choiceOf = (forms) => ({ choice: forms });
export const placeOf = (holds) => ({ place: holds });

/** Strips wrappers that change neither text nor meaning. */
export function bare(node) {
  let inner = node;
  for (;;) {
    if (
      ts.isParenthesizedExpression(inner) ||
      ts.isAsExpression(inner) ||
      ts.isSatisfiesExpression(inner) ||
      ts.isNonNullExpression(inner) ||
      ts.isAwaitExpression(inner)
    )
      inner = inner.expression;
    else if (ts.isCallExpression(inner) && ts.isIdentifier(inner.expression) && inner.expression.text === 'escapeHtml')
      inner = inner.arguments[0];
    else if (
      ts.isCallExpression(inner) &&
      ts.isPropertyAccessExpression(inner.expression) &&
      /^(trim|trimEnd|trimStart)$/.test(inner.expression.name.text) &&
      inner.arguments.length === 0
    )
      inner = inner.expression.expression;
    else if (ts.isCallExpression(inner) && /^(strong|alarm)$/.test(calleeName(inner)) && inner.arguments.length === 1)
      inner = inner.arguments[0];
    else return inner;
  }
}

export function calleeName(node) {
  const { expression } = node;
  if (ts.isIdentifier(expression)) return expression.text;
  if (ts.isPropertyAccessExpression(expression)) return expression.name.text;
  return '';
}

export const isString = (node) => ts.isStringLiteral(node) || ts.isNoSubstitutionTemplateLiteral(node);

/** Whether an expression is written as text: a literal, a template, or a choice or sum of such. */
export function isTextual(node, depth = 0) {
  const inner = bare(node);
  if (isString(inner) || ts.isTemplateExpression(inner)) return true;
  if (depth > 6) return false;
  if (ts.isConditionalExpression(inner))
    return isTextual(inner.whenTrue, depth + 1) || isTextual(inner.whenFalse, depth + 1);
  if (ts.isBinaryExpression(inner)) {
    const kind = inner.operatorToken.kind;
    if (kind === ts.SyntaxKind.PlusToken) return isTextual(inner.left, depth + 1) || isTextual(inner.right, depth + 1);
    if (kind === ts.SyntaxKind.QuestionQuestionToken || kind === ts.SyntaxKind.BarBarToken)
      return isTextual(inner.right, depth + 1);
  }
  return false;
}

/** A table ends its own lines. */
export const isTable = (node) => ts.isCallExpression(bare(node)) && calleeName(bare(node)) === 'textTable';

/** The initialiser of a constant that the name stands for, in the nearest scope around it. */
export function initialiserOf(identifier) {
  const name = identifier.text;
  for (let scope = identifier.parent; scope; scope = scope.parent) {
    if (scope.parameters?.some((parameter) => ts.isIdentifier(parameter.name) && parameter.name.text === name))
      return null;
    const statements = ts.isBlock(scope) || ts.isSourceFile(scope) ? scope.statements : [];
    for (const statement of statements) {
      if (!ts.isVariableStatement(statement) || !(statement.declarationList.flags & ts.NodeFlags.Const)) continue;
      for (const declaration of statement.declarationList.declarations) {
        if (ts.isIdentifier(declaration.name) && declaration.name.text === name) return declaration.initializer ?? null;
      }
    }
  }
  return null;
}

export function functionsWithTexts(file) {
  const names = new Set();
  const visit = (node) => {
    if (ts.isFunctionDeclaration(node) && node.name && /string/.test(node.type?.getText(file) ?? ''))
      names.add(node.name.text);
    if (
      ts.isVariableDeclaration(node) &&
      ts.isIdentifier(node.name) &&
      node.initializer &&
      ts.isArrowFunction(node.initializer) &&
      /string/.test(node.initializer.type?.getText(file) ?? '')
    )
      names.add(node.name.text);
    ts.forEachChild(node, visit);
  };
  visit(file);
  return names;
}

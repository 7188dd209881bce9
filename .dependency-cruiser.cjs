// Rules are made from tools/architecture.mjs, so that the table is the architecture.
const fs = require('node:fs');
const path = require('node:path');

const source = fs.readFileSync(path.join(__dirname, 'tools', 'architecture.mjs'), 'utf8');
const table = {};
new Function('out', `${source.replace(/export const (\w+)/g, 'out.$1')}`)(table);

const forbidden = [{ name: 'no-circular', severity: 'error', from: {}, to: { circular: true } }];

for (const [name, allowed] of Object.entries(table.PACKAGES)) {
  const others = Object.keys(table.PACKAGES).filter((other) => other !== name && !allowed.includes(other));
  if (others.length > 0) {
    forbidden.push({
      name: `package-${name}`,
      severity: 'error',
      from: { path: `^packages/${name}/src` },
      to: { path: `^packages/(${others.join('|')})/` },
    });
  }
  forbidden.push({
    name: `package-${name}-only-entries`,
    severity: 'error',
    from: { path: `^packages/${name}/src` },
    to: { path: '^packages/[^/]+/src/', pathNot: [`^packages/${name}/src/`, '^packages/[^/]+/src/index\\.ts$'] },
  });
}
for (const name of ['kernels', 'engine']) {
  forbidden.push({
    name: `${name}-pure`,
    severity: 'error',
    from: { path: `^packages/${name}/src` },
    to: { dependencyTypes: ['core'] },
  });
}
forbidden.push({
  name: 'kernels-no-library',
  severity: 'error',
  from: { path: '^packages/kernels/src' },
  to: { path: 'node_modules/' },
});
forbidden.push({
  name: 'engine-library-list',
  severity: 'error',
  from: { path: '^packages/engine/src' },
  to: { path: 'node_modules/', pathNot: `node_modules/(@lapjoint|@types|${table.ENGINE_LIBRARIES.join('|')})/` },
});
table.ENGINE_LAYERS.forEach((folders, layer) => {
  for (const folder of folders) {
    const allowed = [folder, ...table.ENGINE_LAYERS.slice(0, layer).flat()];
    forbidden.push({
      name: `engine-${folder}`,
      severity: 'error',
      from: { path: `^packages/engine/src/${folder}/` },
      to: { path: '^packages/engine/src/', pathNot: `^packages/engine/src/(${allowed.join('|')})/` },
    });
    if (folder !== 'geometry') {
      forbidden.push({
        name: `engine-${folder}-kernels-through-geometry`,
        severity: 'error',
        from: { path: `^packages/engine/src/${folder}/` },
        to: { path: '^packages/kernels/' },
      });
    }
  }
});

module.exports = {
  forbidden,
  options: {
    tsPreCompilationDeps: true,
    tsConfig: { fileName: 'tsconfig.base.json' },
    exclude: { path: '^packages/[^/]+/dist/|/src/assembly/' },
    doNotFollow: { path: 'node_modules' },
    enhancedResolveOptions: { conditionNames: ['source', 'import', 'node', 'default'], exportsFields: ['exports'] },
  },
};

const stage = 'engine/(?:intake|measure|decide|render|verify|deliver)'
const besideSource = '[.](?:test|reference)[.]ts$'

/** Files under `from` may import only their own folder and `to`; `why` speaks to the offender. */
const arrow = (name, from, to, why) => ({
  name,
  comment: why,
  severity: 'error',
  from: { path: `^src/(${from})/` },
  to: { path: '^src/', pathNot: ['^src/$1/', ...to.map((folder) => `^src/${folder}/`)] },
})

module.exports = {
  forbidden: [
    {
      name: 'no-cycles',
      comment:
        'Cut the circle: put what both need below both. (Types may refer to each other: nothing of them is left at run time.)',
      severity: 'error',
      from: {},
      to: { circular: true, viaOnly: { dependencyTypesNot: ['type-only'] } },
    },
    { name: 'not-resolvable', severity: 'error', from: {}, to: { couldNotResolve: true } },
    {
      name: 'nothing-imports-a-test',
      comment: 'Slow twins and tests are for tests only.',
      severity: 'error',
      from: { path: '^(?:src|demo)/', pathNot: besideSource },
      to: { path: `^(?:test|bench)/|^src/.*${besideSource}` },
    },
    {
      name: 'tests-beside-source-stay-there',
      comment: 'A test that joins layers belongs under test/; only the testkit may be borrowed.',
      severity: 'error',
      from: { path: `^src/.*${besideSource}` },
      to: { path: '^(?:test|bench|demo)/', pathNot: '^test/testkit/' },
    },
    { name: 'nothing-imports-the-demo', severity: 'error', from: { path: '^(?:src|bench)/' }, to: { path: '^demo/' } },
    arrow('domain-knows-nothing', 'domain', [], 'Words only.'),
    arrow('dsp-knows-domain', 'dsp', ['domain'], 'Kernels know numbers, not meaning.'),
    arrow('specs-know-domain', 'specs', ['domain'], 'Specs are data.'),
    arrow('media-knows-domain', 'media', ['domain'], 'Bytes to blocks, nothing more.'),
    arrow('protocol-knows-domain', 'protocol', ['domain'], 'What travels.'),
    arrow('report-knows-domain', 'report', ['domain', 'specs'], 'A report draws the model that it is given.'),
    arrow('speech-knows-domain', 'speech', ['domain'], 'Speech detection is behind an interface of domain.'),
    arrow(
      'stages-are-strangers',
      stage,
      ['domain', 'dsp', 'specs'],
      'Put the value in domain and let run.ts carry it.',
    ),
    {
      name: 'conductor',
      comment: 'run.ts and work.ts call stages and nothing else.',
      severity: 'error',
      from: { path: '^src/engine/[^/]+[.]ts$', pathNot: besideSource },
      to: { path: '^src/', pathNot: ['^src/engine/', '^src/domain/', '^src/specs/', '^src/dsp/index[.]ts$'] },
    },
    arrow(
      'jobs',
      'jobs',
      ['domain', 'specs', 'dsp', 'engine', 'media', 'protocol', 'report', 'speech'],
      'jobs/ joins media and engine.',
    ),
    {
      name: 'jobs-use-the-conductor',
      comment: 'Do not call a stage from outside: go through engine/run.ts or engine/work.ts.',
      severity: 'error',
      from: { path: '^src/(?:jobs|cli|server)/', pathNot: besideSource },
      to: { path: `^src/${stage}/` },
    },
    arrow(
      'cli',
      'cli',
      ['domain', 'specs', 'jobs', 'protocol', 'server'],
      'The command line talks to jobs, and opens the desk.',
    ),
    arrow('server', 'server', ['domain', 'specs', 'jobs', 'protocol'], 'The server only talks to jobs.'),
    {
      name: 'page',
      comment: 'The page speaks protocol; only listen/ runs kernels.',
      severity: 'error',
      from: { path: '^src/web/', pathNot: ['^src/web/listen/', besideSource] },
      to: { path: '^src/', pathNot: ['^src/web/', '^src/domain/', '^src/specs/', '^src/protocol/'] },
    },
    {
      name: 'listen',
      comment: 'Listening hears what render does, from memory.',
      severity: 'error',
      from: { path: '^src/web/listen/', pathNot: besideSource },
      to: { path: '^src/', pathNot: ['^src/web/listen/', '^src/domain/', '^src/dsp/', '^src/engine/render/'] },
    },
    {
      name: 'no-outside-world',
      comment: 'No file, process or network here.',
      severity: 'error',
      from: { path: '^src/(?:domain|dsp|specs|engine|protocol|web)/', pathNot: besideSource },
      to: { dependencyTypes: ['core'] },
    },
    {
      name: 'no-npm-in-the-core',
      comment: 'The core stands on nothing.',
      severity: 'error',
      from: { path: '^src/(?:domain|dsp|specs|engine)/', pathNot: besideSource },
      to: { dependencyTypes: ['npm', 'npm-dev', 'npm-optional', 'npm-peer', 'npm-no-pkg', 'npm-unknown'] },
    },
    {
      name: 'runtime-packages-are-declared',
      comment: 'A package that the product needs stands under "dependencies".',
      severity: 'error',
      from: { path: '^src/', pathNot: besideSource },
      to: { dependencyTypes: ['npm-dev', 'npm-no-pkg', 'npm-unknown'] },
    },
    {
      name: 'front-door-of-a-stage',
      comment: 'Import the folder, not a file in it.',
      severity: 'error',
      from: { path: `^src/(${stage})/` },
      to: { path: '^src/', pathNot: ['^src/$1/', '/index[.]ts$'] },
    },
    {
      name: 'front-door',
      comment: 'Import the folder, not a file in it (the conductor and the worker are the two doors of engine/).',
      severity: 'error',
      from: { path: '^src/([^/]+)/' },
      to: { path: '^src/', pathNot: ['^src/$1/', '/index[.]ts$', '^src/engine/(?:run|work)[.]ts$'] },
    },
  ],
  options: {
    doNotFollow: { path: 'node_modules' },
    exclude: { path: '^src/dsp/assembly/' },
    tsPreCompilationDeps: true,
    tsConfig: { fileName: 'tsconfig.base.json' },
    enhancedResolveOptions: {
      extensions: ['.ts', '.tsx', '.mjs', '.js', '.json'],
      exportsFields: ['exports'],
      conditionNames: ['import', 'node', 'default', 'types'],
    },
  },
}

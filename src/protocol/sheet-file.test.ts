import { describe, expect, test } from 'vitest'
import type { Sheet } from '../domain/index.ts'
import { readSheetFile, sheetFileSchema, sheetJson } from './sheet-file.ts'

const FULL = {
  sheetVersion: 1,
  title: { id: 'saltmarsh-lane-103', name: 'Saltmarsh Lane, episode 3', language: 'en-GB', deliveredOn: '1986-04-11' },
  timecode: { rate: '25', dropFrame: false, start: '09:58:30:00' },
  sources: [{ path: 'saltmarsh-103-master.wav', role: 'programme', layout: '2.0', kind: 'stereo', sha256: '5f0c9e' }],
  segments: [
    { kind: 'tone', from: '09:58:30:00', to: '09:59:30:00' },
    { kind: 'programme', name: 'act 1', from: '10:00:00:00', to: '10:22:10:00' },
  ],
  picture: { from: '09:58:20:00' },
  spec: { id: 'atsc-a85', edition: '2013', override: { maxTruePeakDbtp: -3 } },
  upmix: {
    start: 'drama-dialogue',
    settings: { lfeGainDb: -10 },
    scenes: [
      {
        name: 'storm',
        reason: 'The sea comes in through the open door.',
        from: '10:12:03:00',
        to: '10:14:40:12',
        glideInMs: 500,
        glideOutMs: 2000,
        settings: { ambienceShare: 1.2, surroundHighCutHz: 9000 },
      },
    ],
  },
  fit: {
    anchor: '5.1',
    settings: { rideReachSeconds: 4, bands: 'auto', ceilingAimBelowDb: 0.1 },
    trims: [{ from: '10:10:00:00', to: '10:10:08:05', gainDb: -2.5, glideMs: 200, reason: 'door slam' }],
    locks: [{ from: '10:15:00:00', to: '10:16:00:00', toleranceDb: 2 }],
    limits: [{ from: '10:18:00:00', to: '10:19:00:00', lowestDb: -6, highestDb: -2 }],
    handRides: [
      { from: '10:20:00:00', to: '10:20:20:00', points: [{ at: '10:20:05:00', gainDb: -3 }], reason: 'applause' },
    ],
  },
  waivers: [{ line: 'loudnessRangeLu', reason: 'agreed with the broadcaster' }],
  deliverables: [
    { role: 'mix-5.1', container: 'wav', bits: 24, order: 'itu', name: '{id}_51.wav' },
    { role: 'lo-ro', container: 'wav', bits: 24, name: '{id}_20.wav' },
  ],
}

const LEAST = { sheetVersion: 1, title: { id: 'a', name: 'A' }, sources: [{ path: 'a.wav' }] }

function changed(change: object): object {
  return { ...structuredClone(FULL), ...change }
}

function sheetOf(value: unknown): Sheet {
  const { sheet, problems } = readSheetFile(value)
  if (sheet === null) throw new Error(JSON.stringify(problems))
  return sheet
}

describe('a sheet', () => {
  test('says everything that a title decides', () => {
    const sheet = sheetOf(FULL)
    expect(sheet.segments[1]).toEqual({ kind: 'programme', name: 'act 1', from: '10:00:00:00', to: '10:22:10:00' })
    expect(sheet.fit.settings).toEqual({ rideReachSeconds: 4, bands: 'auto', ceilingAimBelowDb: 0.1, anchor: '5.1' })
    expect(sheet.upmix).toEqual(FULL.upmix)
    expect(sheet.spec?.override).toEqual({ maxTruePeakDbtp: -3 })
    expect(sheet.deliverables.map(({ name }) => name)).toEqual(['{id}_51.wav', '{id}_20.wav'])
  })

  test('needs no more than a title and a file', () => {
    const sheet = sheetOf(LEAST)
    expect(sheet).toMatchObject({ timecode: null, segments: [], spec: null, waivers: [], deliverables: [] })
    expect(sheet.fit).toEqual({ settings: {}, trims: [], locks: [] })
    expect(sheet.upmix).toEqual({ start: null, settings: {}, scenes: [] })
  })

  test('written and read again is the same sheet, and the same text', () => {
    for (const value of [FULL, LEAST]) {
      const text = sheetJson(sheetOf(value))
      expect(sheetOf(JSON.parse(text))).toEqual(sheetOf(value))
      expect(sheetJson(sheetOf(JSON.parse(text)))).toBe(text)
    }
    expect(Object.keys(JSON.parse(sheetJson(sheetOf(LEAST))))).toEqual(['sheetVersion', 'title', 'sources'])
  })

  test('trims without a glide get the shortest there is', () => {
    const trims = [{ from: '0:00:01.000', to: '0:00:02.000', gainDb: 1 }]
    expect(sheetOf({ ...LEAST, fit: { trims } }).fit.trims[0]).toMatchObject({ glideMs: 100, reason: null })
  })

  test('scenes without glides take half a second, and may differ in name and place alone', () => {
    const scenes = [{ from: '0:00:01.000', to: '0:00:02.000' }]
    expect(sheetOf({ ...LEAST, upmix: { scenes } }).upmix.scenes[0]).toEqual({
      ...scenes[0],
      name: null,
      reason: null,
      glideInMs: 500,
      glideOutMs: 500,
      settings: {},
    })
  })

  test('its JSON Schema names every part', () => {
    const { properties } = sheetFileSchema() as { properties: Record<string, unknown> }
    expect(Object.keys(properties).filter((name) => name !== '$schema')).toEqual(Object.keys(FULL))
  })
})

describe('a slip is named with its place, what was found and what is needed', () => {
  const trim = FULL.fit.trims[0]
  const [source] = FULL.sources
  const [storm] = FULL.upmix.scenes
  test.each<[change: object, path: string, needed: RegExp, nearest: string | null]>([
    [{ sourcse: [] }, 'sourcse', /one of/, 'sources'],
    [{ title: { id: 'a', nam: 'A' } }, 'title.nam', /id, name/, 'name'],
    [{ segments: [{ kind: 'program', from: '0', to: '1' }] }, 'segments.0.kind', /programme, break/, 'programme'],
    [{ segments: [{ kind: 'tone', form: '0', to: '1' }] }, 'segments.0.form', /from/, 'from'],
    [{ spec: { id: 'a', overide: {} } }, 'spec.overide', /override/, 'override'],
    [{ spec: { id: 'a', override: { maxTruePeak: -3 } } }, 'spec.override.maxTruePeak', /Dbtp/, 'maxTruePeakDbtp'],
    [{ spec: { id: 'a', path: 'b.json' } }, 'spec', /the id of a spec or the path/, null],
    [{ upmix: { settings: { lfeGain: -10 } } }, 'upmix.settings.lfeGain', /lfeGainDb/, 'lfeGainDb'],
    [{ fit: { settings: { rideReachSeconds: 90 } } }, 'fit.settings.rideReachSeconds', /at most 20/, null],
    [{ fit: { settings: { stages: 'trim' } } }, 'fit.settings.stages', /all, trims/, 'trims'],
    [{ fit: { anchor: '5.1', settings: { anchor: 'balanced' } } }, 'fit.anchor', /the same/, null],
    [{ fit: { trims: [{ ...trim, glideMs: 20 }] } }, 'fit.trims.0.glideMs', /at least 100/, null],
    [{ fit: { trims: [{ ...trim, gainDb: 99 }] } }, 'fit.trims.0.gainDb', /at most 24/, null],
    [
      { fit: { limits: [{ from: '0', to: '1', lowestDb: -2, highestDb: -3 }] } },
      'fit.limits.0.lowestDb',
      /no more than highestDb/,
      null,
    ],
    [{ fit: { handRides: [{ from: '0', to: '1', points: [] }] } }, 'fit.handRides.0.points', /./, null],
    [{ fit: { locks: [{ from: '0', to: '1', tolerance: 0 }] } }, 'fit.locks.0.tolerance', /toleranceDb/, 'toleranceDb'],
    [{ waivers: [{ line: 'loudnessRange', reason: 'x' }] }, 'waivers.0.line', /loudnessRangeLu/, 'loudnessRangeLu'],
    [{ waivers: [{ line: 'loudnessRangeLu', reason: '' }] }, 'waivers.0.reason', /not empty/, null],
    [{ sources: [] }, 'sources', /at least one/, null],
    [{ sources: [{ ...source, sha256: '5F' }] }, 'sources.0.sha256', /hex/, null],
    [{ sources: [{ ...source, kind: 'ltrt' }] }, 'sources.0.kind', /auto, stereo, lt-rt/, 'lt-rt'],
    [{ sources: [source, { path: 'b.wav', kind: 'lt-rt' }] }, 'sources.1.kind', /in every reel/, null],
    [{ upmix: { settings: { kind: 'lt-rt' } } }, 'sources.0.kind', /the same as in upmix.settings/, null],
    [{ deliverables: [{ role: 'mix', name: '../x.wav' }] }, 'deliverables.0.name', /without folders/, null],
    [{ deliverables: [{ role: 'mix' }, { role: 'mix' }] }, 'deliverables.1.role', /each role once/, null],
    [{ deliverables: [{ role: 'mix', container: 'mxf' }] }, 'deliverables.0.container', /one of wav/, null],
    [{ followers: [{ path: 'm.wav' }] }, 'followers', /without followers/, null],
    [{ upmix: { scene: [] } }, 'upmix.scene', /start, settings, scenes/, 'scenes'],
    [{ upmix: { start: 'drama-dialog' } }, 'upmix.start', /live-music/, 'drama-dialogue'],
    [{ upmix: { scenes: [{ ...storm, form: '0' }] } }, 'upmix.scenes.0.form', /from/, 'from'],
    [{ upmix: { scenes: [{ ...storm, glideInMs: 5 }] } }, 'upmix.scenes.0.glideInMs', /at least 10/, null],
    [
      { upmix: { scenes: [{ ...storm, settings: { ambienceShar: 1 } }] } },
      'upmix.scenes.0.settings.ambienceShar',
      /ambienceShare/,
      'ambienceShare',
    ],
    [
      { upmix: { scenes: [{ ...storm, settings: { centreShare: 1.5 } }] } },
      'upmix.scenes.0.settings.centreShare',
      /at most 1/,
      null,
    ],
    [{ fit: { settings: { bands: 'loud' } } }, 'fit.settings.bands', /manual/, null],
  ])('%j', (change, path, needed, nearest) => {
    const { problems } = readSheetFile(changed(change))
    const found = problems?.filter((problem) => problem.path === path)
    expect(found).toEqual([{ path, found: expect.any(String), needed: expect.stringMatching(needed), nearest }])
  })

  test('what is there of a thing that cannot be obeyed yet is named', () => {
    const { problems } = readSheetFile(changed({ followers: [{}, {}] }))
    expect(problems).toMatchObject([{ path: 'followers', found: '2 of them' }])
  })

  test.each([[null], [[]], ['sheet'], [{}]])('%j is no sheet', (value) => {
    expect(readSheetFile(value).problems?.length).toBeGreaterThan(0)
  })
})

import {
  CUSTOMARY_UPMIX_GLIDE_MS,
  endLabel,
  type FrameRange,
  LONGEST_UPMIX_GLIDE_MS,
  type PlacedSheet,
  placeSheet,
  printInstant,
  readInstant,
  SHORTEST_UPMIX_GLIDE_MS,
  type Sheet,
  type SheetGround,
  type SheetScene,
  type SheetStretch,
} from '../../domain/index.ts'

/** One scene by its place in the sheet, or what holds outside of all scenes. */
export type SceneChoice = number | 'title'
export type Side = 'in' | 'out'
type Settings = Sheet['upmix']['settings']

/** The sheet with its stretches in order of time, so that the n-th placed is the n-th written. */
export function inOrder(sheet: Sheet, { clock, sampleRateHz }: SheetGround): Sheet {
  const frameOf = ({ from }: SheetStretch) => {
    const frame = readInstant(clock, from, sampleRateHz)
    return typeof frame === 'number' ? frame : 0
  }
  const ordered = <T extends SheetStretch>(list: readonly T[]) => list.toSorted((a, b) => frameOf(a) - frameOf(b))
  return {
    ...sheet,
    segments: ordered(sheet.segments),
    upmix: { ...sheet.upmix, scenes: ordered(sheet.upmix.scenes) },
    fit: { ...sheet.fit, trims: ordered(sheet.fit.trims), locks: ordered(sheet.fit.locks) },
  }
}

/**
 * The sheet with a border of scenes at a frame: the scene there becomes two alike, and where there is none, what lies
 * between its neighbours becomes two that set nothing yet. Null where no border can be.
 */
export function withSplit(sheet: Sheet, ground: SheetGround, frame: number): Sheet | null {
  const placed = placedOf(sheet, ground)
  if (placed === null) return null
  const at = printInstant(ground.clock, frame, ground.sampleRateHz)
  const border = readInstant(ground.clock, at, ground.sampleRateHz)
  if (typeof border !== 'number') return null
  const holds = ({ startFrame, endFrame }: FrameRange) => startFrame <= border && border < endFrame
  const index = placed.scenes.findIndex(holds)
  const { scenes } = sheet.upmix
  const after = placed.scenes.findIndex(({ startFrame }) => startFrame > border)
  const place = index >= 0 ? index : after < 0 ? scenes.length : after
  const whole = scenes[index] ?? gapAround(sheet, ground, placed, place, border)
  if (whole === null) return null
  const { glideInMs, glideOutMs } = whole
  const halves = [
    { ...whole, to: at, glideInMs, glideOutMs: CUSTOMARY_UPMIX_GLIDE_MS },
    { ...whole, from: at, glideInMs: CUSTOMARY_UPMIX_GLIDE_MS, glideOutMs },
  ]
  return checked(withScenes(sheet, scenes.toSpliced(place, index >= 0 ? 1 : 0, ...halves)), ground)
}

/** The sheet with a scene that goes on to the end of the next one, under its own settings; null where that cannot be. */
export function withJoin(sheet: Sheet, ground: SheetGround, index: number): Sheet | null {
  const { scenes } = sheet.upmix
  const [first, next] = [scenes[index], scenes[index + 1]]
  if (first === undefined || next === undefined) return null
  const joined = { ...first, to: next.to, glideOutMs: next.glideOutMs }
  return checked(withScenes(sheet, scenes.toSpliced(index, 2, joined)), ground)
}

/** The sheet with a border moved to a frame; that of a touching neighbour moves with it. Null where that cannot be. */
export function withBorder(sheet: Sheet, ground: SheetGround, index: number, side: Side, frame: number): Sheet | null {
  const at = printInstant(ground.clock, Math.max(0, frame), ground.sampleRateHz)
  const end = side === 'in' ? 'from' : 'to'
  const moved = beside(sheet, index, side)
  const scenes = sheet.upmix.scenes.map((scene, i) => {
    if (i === index) return { ...scene, [end]: at }
    return i === moved ? { ...scene, [end === 'from' ? 'to' : 'from']: at } : scene
  })
  return checked(withScenes(sheet, scenes), ground)
}

/** The sheet with a glide at a border. Of two scenes that touch the longer glide holds, so both are given the same. */
export function withGlide(sheet: Sheet, index: number, side: Side, glideMs: number): Sheet {
  const ms = glideStep(glideMs)
  const touching = beside(sheet, index, side)
  return withScenes(
    sheet,
    sheet.upmix.scenes.map((scene, i) => {
      const own = i === index ? side : i === touching ? (side === 'in' ? 'out' : 'in') : null
      return own === null ? scene : { ...scene, [own === 'in' ? 'glideInMs' : 'glideOutMs']: ms }
    }),
  )
}

export function glideStep(glideMs: number): number {
  const step = glideMs < 1000 ? 10 : 50
  const rounded = Math.round(glideMs / step) * step
  return Math.min(LONGEST_UPMIX_GLIDE_MS, Math.max(SHORTEST_UPMIX_GLIDE_MS, rounded || 0))
}

/** The sheet with one setting of a scene or of the title; null takes it away, so that what is outside holds again. */
export function withSetting(sheet: Sheet, choice: SceneChoice, name: string, value: number | string | null): Sheet {
  return withSettings(sheet, choice, (settings) => {
    const { [name]: _, ...others } = settings
    return value === null ? others : { ...settings, [name]: value }
  })
}

/** The sheet with all settings of a scene or of the title replaced. */
export function withSettings(sheet: Sheet, choice: SceneChoice, change: (settings: Settings) => Settings): Sheet {
  const { upmix } = sheet
  if (choice === 'title') return { ...sheet, upmix: { ...upmix, settings: change(upmix.settings) } }
  return changed(sheet, choice, (scene) => ({ ...scene, settings: change(scene.settings) }))
}

export function withSceneName(sheet: Sheet, index: number, name: string): Sheet {
  return changed(sheet, index, (scene) => ({ ...scene, name: name === '' ? null : name }))
}

export function withoutScene(sheet: Sheet, index: number): Sheet {
  return withScenes(sheet, sheet.upmix.scenes.toSpliced(index, 1))
}

/** What the whole title starts from; null: the defaults. */
export function withStart(sheet: Sheet, start: string | null): Sheet {
  return { ...sheet, upmix: { ...sheet.upmix, start } }
}

export function withSuggestion(sheet: Sheet, suggestion: Pick<Sheet['upmix'], 'start' | 'scenes'>): Sheet {
  return { ...sheet, upmix: { ...sheet.upmix, ...suggestion } }
}

function withScenes(sheet: Sheet, scenes: readonly SheetScene[]): Sheet {
  return { ...sheet, upmix: { ...sheet.upmix, scenes } }
}

function changed(sheet: Sheet, index: number, change: (scene: SheetScene) => SheetScene): Sheet {
  return withScenes(
    sheet,
    sheet.upmix.scenes.map((scene, i) => (i === index ? change(scene) : scene)),
  )
}

/** The scene that touches another at one side; -1 where none does. */
function beside({ upmix: { scenes } }: Sheet, index: number, side: Side): number {
  const other = side === 'in' ? index - 1 : index + 1
  const [first, next] = side === 'in' ? [scenes[other], scenes[index]] : [scenes[index], scenes[other]]
  return first !== undefined && first.to === next?.from ? other : -1
}

/** What no scene holds around an instant, inside its programme segment; null where that is no programme. */
function gapAround(
  sheet: Sheet,
  ground: SheetGround,
  placed: PlacedSheet,
  place: number,
  border: number,
): SheetScene | null {
  const segment = placed.segments.findIndex(
    ({ kind, startFrame, endFrame }) => kind === 'programme' && startFrame <= border && border < endFrame,
  )
  if (segment < 0 && placed.segments.length > 0) return null
  const { startFrame = 0, endFrame = ground.frameCount } = placed.segments[segment] ?? {}
  const inside = sheet.segments[segment]
  const before = placed.scenes[place - 1]
  const after = placed.scenes[place]
  const isBeforeInside = before !== undefined && before.endFrame >= startFrame
  const isAfterInside = after !== undefined && after.startFrame <= endFrame
  return {
    name: null,
    from: isBeforeInside
      ? sheet.upmix.scenes[place - 1]!.to
      : (inside?.from ?? printInstant(ground.clock, 0, ground.sampleRateHz)),
    to: isAfterInside ? sheet.upmix.scenes[place]!.from : (inside?.to ?? endLabel(ground)),
    glideInMs: CUSTOMARY_UPMIX_GLIDE_MS,
    glideOutMs: CUSTOMARY_UPMIX_GLIDE_MS,
    reason: null,
    settings: {},
  }
}

function placedOf(sheet: Sheet, ground: SheetGround): PlacedSheet | null {
  const placed = placeSheet(sheet, ground)
  return 'scenes' in placed ? placed : null
}

/** The sheet, if all of its stretches can be. */
function checked(sheet: Sheet, ground: SheetGround): Sheet | null {
  return placedOf(sheet, ground) === null ? null : sheet
}

import { type CeilingLink, dbToGain, FOLD_DOWN_K, LAYOUTS, type Role, type Segment } from '../../domain/index.ts'
import { holdUnityOutside, type Kernels, keepBelowCeiling, type Plane, takeGain } from '../../dsp/index.ts'
import { describeCeiling, type FrontResidue, type GroupAction } from './alteration.ts'
import type { RenderJob } from './segment.ts'
import { guardedSignals, type Planes, type Stretch } from './stretch.ts'

export type GroupedCeiling = {
  readonly groups: readonly GroupAction[]
  /** Under the total gain at this address; null: the fronts are channels of the source, and nothing is derived. */
  frontResidueUnder(gain: number): FrontResidue | null
  /** What the stereo of an upmix got, as its fronts did, of each frame of the stretch; null: nothing. */
  readonly stereoGain: Float64Array | null
  /** Whether a sample of these frames of the stretch was changed. */
  isChanged(firstFrame: number, frameCount: number): boolean
}

type Group = { readonly name: string; readonly roles: readonly Role[] }

/** Frames that are marked together as changed. */
const BLOCK_FRAMES = 64

const FRONTS: readonly Role[] = ['L', 'R']
const SURROUNDS: readonly Role[] = ['Ls', 'Rs', 'Lrs', 'Rrs']

/** The groups of a mix; an upmix keeps L and R together, whose stereo is one master under one gain. */
function groupsOf({ source, upmixed }: RenderJob, { grouping }: CeilingLink): readonly Group[] {
  const roles = LAYOUTS[upmixed === null ? source.layout : '5.1'].filter((role) => role !== 'LFE')
  const alone = (role: Role) => ({ name: role, roles: [role] })
  const together = (name: string, of: readonly Role[]) => ({ name, roles: roles.filter((role) => of.includes(role)) })
  const groups =
    grouping === 'groups'
      ? [together('L R', FRONTS), together('C', ['C']), together('surrounds', SURROUNDS)]
      : upmixed === null
        ? roles.map(alone)
        : [together('L R', FRONTS), ...roles.filter((role) => !FRONTS.includes(role)).map(alone)]
  return groups.filter((group) => group.roles.length > 0)
}

/**
 * Lets each group of channels give a little to its own peaks, so that they move nothing else: changes the planes, from which
 * all that is linked is made. What a group needs beyond `mostDb` is left to the gain that all share.
 * @param common address of the gain that all of it gets, the planned part of the ceiling included
 * @returns null where nothing acted
 */
export function limitGroups(
  kernels: Kernels,
  job: RenderJob,
  link: CeilingLink,
  planes: Planes,
  { stretch, segment, common, ceiling }: { stretch: Stretch; segment: Segment; common: number; ceiling: number },
): GroupedCeiling | null {
  const groups = groupsOf(job, link)
  if (groups.length < 2) return null
  const stereoGain = job.upmixed === null ? null : takeGain(kernels, stretch.frameCount)
  const change = new GroupChange(kernels, job, planes, stretch, stereoGain)
  const actions = groups.map(({ name, roles }) => {
    const mark = kernels.arena.mark()
    const gain = name === 'L R' && stereoGain !== null ? stereoGain : takeGain(kernels, stretch.frameCount)
    const signals = signalsOf(kernels, job, planes, stretch, roles)
    const { frameCount, sampleRateHz } = stretch
    const asked = { signals, frameCount, sampleRateHz, commonGain: common, ceilingGain: gain, ceiling }
    const hasActed = keepBelowCeiling(kernels, asked)
    if (hasActed) {
      limitTo(new Float64Array(kernels.memory.buffer, gain, frameCount), dbToGain(-link.mostDb))
      holdUnityOutside(kernels, job.gain.programme, stretch, gain)
    }
    const action = describeCeiling(kernels, gain, stretch, segment)
    change.apply(roles, gain, hasActed)
    kernels.arena.release(mark)
    return { name, action }
  })
  return change.hasActed ? change.conclude(actions, segment) : null
}

/** Of an upmix the fronts are guarded as they will be derived, and the stereo with them. */
function signalsOf(kernels: Kernels, job: RenderJob, planes: Planes, stretch: Stretch, roles: readonly Role[]) {
  const alone = roles.map((role) => [{ plane: planes[role] as Plane, weight: 1 }])
  if (job.upmixed === null || !roles.includes('L')) return alone
  return [...alone, ...guardedSignals(kernels, job, planes, stretch).slice(UPMIX_CHANNELS)]
}

/** Stereo, C, Ls and Rs come first among what is guarded of an upmix; what is derived of them follows. */
const UPMIX_CHANNELS = 5

function limitTo(gain: Float64Array, lowest: number): void {
  for (let i = 0; i < gain.length; i++) if ((gain[i] as number) < lowest) gain[i] = lowest
}

type Samples = Float32Array | Float64Array

/** Applies the gains of groups to planes and keeps account of what is left in derived fronts. */
class GroupChange {
  hasActed = false
  readonly #kernels: Kernels
  readonly #job: RenderJob
  readonly #planes: Planes
  readonly #stretch: Stretch
  readonly #stereoGain: Float64Array | null
  readonly #changed: Uint8Array
  readonly #residues: readonly [Float32Array, Float32Array] | null

  constructor(kernels: Kernels, job: RenderJob, planes: Planes, stretch: Stretch, stereoGain: number | null) {
    this.#kernels = kernels
    this.#job = job
    this.#planes = planes
    this.#stretch = stretch
    const { frameCount } = stretch
    this.#stereoGain = stereoGain === null ? null : new Float64Array(kernels.memory.buffer, stereoGain, frameCount)
    this.#changed = new Uint8Array(Math.ceil(frameCount / BLOCK_FRAMES))
    this.#residues = stereoGain === null ? null : [new Float32Array(frameCount), new Float32Array(frameCount)]
  }

  apply(roles: readonly Role[], gainAddress: number, hasActed: boolean): void {
    this.hasActed ||= hasActed
    if (!this.hasActed) return
    const gain = new Float64Array(this.#kernels.memory.buffer, gainAddress, this.#stretch.frameCount)
    for (const role of roles) {
      const samples = this.#samples(role)
      this.#leave(role, samples, gain)
      if (!hasActed) continue
      for (let i = 0; i < gain.length; i++) {
        if ((gain[i] as number) === 1) continue
        samples[i] = (samples[i] as number) * (gain[i] as number)
        this.#changed[Math.floor(i / BLOCK_FRAMES)] = 1
      }
    }
  }

  conclude(groups: readonly GroupAction[], segment: Segment): GroupedCeiling {
    const stretchFirst = this.#stretch.firstFrame
    return {
      groups,
      frontResidueUnder: (gain) => (this.#residues === null ? null : this.#measure(this.#residues, segment, gain)),
      stereoGain: this.#stereoGain,
      isChanged: (firstFrame, frameCount) => {
        const first = Math.floor((firstFrame - stretchFirst) / BLOCK_FRAMES)
        const end = Math.ceil((firstFrame - stretchFirst + frameCount) / BLOCK_FRAMES)
        return this.#changed.subarray(first, end).includes(1)
      },
    }
  }

  #samples(role: Role): Samples {
    const { address, isWide } = this.#planes[role] as Plane
    return new (isWide ? Float64Array : Float32Array)(this.#kernels.memory.buffer, address, this.#stretch.frameCount)
  }

  /** A front is the stereo less this channel: where the two get different gains, some of the channel is left in it. */
  #leave(role: Role, samples: Samples, gain: Float64Array): void {
    const stereoGain = this.#stereoGain
    const weights = this.#residues === null || stereoGain === null ? null : this.#weightsOf(role)
    if (weights === null || this.#residues === null || stereoGain === null) return
    const [left, right] = this.#residues
    for (let i = 0; i < gain.length; i++) {
      const apart = (gain[i] as number) - (stereoGain[i] as number)
      if (apart === 0) continue
      const left0 = apart * (samples[i] as number)
      left[i] = (left[i] as number) + weights[0] * left0
      right[i] = (right[i] as number) + weights[1] * left0
    }
  }

  /** With what weights a channel enters the derived L and R; null for the stereo itself. */
  #weightsOf(role: Role): readonly [number, number] | null {
    const k = FOLD_DOWN_K
    if (role === 'C') return [-k, -k]
    if (this.#job.isLtRt) return role === 'Ls' || role === 'Rs' ? [k, -k] : null
    return role === 'Ls' ? [-k, 0] : role === 'Rs' ? [0, -k] : null
  }

  #measure(residues: readonly [Float32Array, Float32Array], segment: Segment, gainAddress: number): FrontResidue {
    const { firstFrame, frameCount } = this.#stretch
    const gains = new Float64Array(this.#kernels.memory.buffer, gainAddress, frameCount)
    const first = segment.firstFrame - firstFrame
    const [C, Ls, Rs] = (['C', 'Ls', 'Rs'] as const).map((role) => ({
      samples: this.#samples(role),
      weights: this.#weightsOf(role) as readonly [number, number],
    })) as [Weighted, Weighted, Weighted]
    const found = { frames: 0, squares: 0, frontSquares: 0, peak: 0 }
    for (const side of [0, 1] as const) {
      const stereo = this.#samples(FRONTS[side] as Role)
      for (let i = first; i < first + segment.frameCount; i++) {
        if (this.#changed[Math.floor(i / BLOCK_FRAMES)] === 0) continue
        const gain = gains[i] as number
        const left = (residues[side][i] as number) * gain
        let front = stereo[i] as number
        for (const { samples, weights } of [C, Ls, Rs]) front += weights[side] * (samples[i] as number)
        found.squares += left * left
        found.frontSquares += front * gain * (front * gain)
        found.peak = Math.max(found.peak, Math.abs(left))
        if (side === 0) found.frames++
      }
    }
    return found
  }
}

type Weighted = { readonly samples: Samples; readonly weights: readonly [number, number] }

type Address = number

/** The kernel functions of the upmix; each is described in the assembly file that holds it. */
export interface UpmixExports {
  readonly upmixFillWindow: (window: Address, length: number, scale: number) => void
  readonly upmixFillTurns: (turns: Address, period: number) => void
  readonly upmixWindowPair: (
    left: Address,
    right: Address,
    from: number,
    frameCount: number,
    window: Address,
    length: number,
    re: Address,
    im: Address,
  ) => number
  readonly upmixPartSpectra: (
    re: Address,
    im: Address,
    length: number,
    sounding: number,
    spectrum: Address,
    stride: number,
  ) => void
  readonly upmixPowers: (first: Address, second: Address, powers: Address, stride: number, half: number) => void
  readonly upmixAverageBins: (powers: Address, out: Address, stride: number, reach: Address, prefix: Address) => void
  readonly upmixAverageBinsOfOne: (
    plane: Address,
    out: Address,
    stride: number,
    reach: Address,
    prefix: Address,
  ) => void
  readonly upmixHannStep: (
    entering: Address,
    leaving: Address,
    sums: Address,
    out: Address,
    count: number,
    enterCos: number,
    enterSin: number,
    centreCos: number,
    centreSin: number,
    share: number,
  ) => void
  readonly upmixCentre: (
    centre: Address,
    floor: Address,
    band: Address,
    fillBand: Address,
    first: Address,
    second: Address,
    firstOut: Address,
    secondOut: Address,
    ratio: Address,
    bandSums: Address,
    stride: number,
    diffuseReject: number,
    share: number,
    reach: number,
    fill: number,
    leak: number,
    unity: number,
  ) => void
  readonly upmixSurrounds: (
    powers: Address,
    fine: Address,
    band: Address,
    first: Address,
    second: Address,
    firstOut: Address,
    secondOut: Address,
    stride: number,
    duck: number,
    duckFrom: number,
    duckRange: number,
    narrowing: number,
    strictness: number,
    directRejection: number,
    share: number,
    leak: number,
    unity: number,
  ) => void
  readonly upmixFillPhases: (phases: Address, stride: number, radiansPerBin: number) => void
  readonly upmixMeet: (spectrum: Address, stride: number, phases: Address, direction: number) => void
  readonly upmixHoldNoise: (
    powers: Address,
    floor: Address,
    first: Address,
    second: Address,
    stride: number,
    amount: number,
    shut: number,
    open: number,
  ) => void
  readonly upmixOnsetRows: (
    left: Address,
    right: Address,
    frameCount: number,
    delay: number,
    blockFrames: number,
    rows: Address,
  ) => void
  readonly upmixOnsetContrasts: (
    rows: Address,
    fours: Address,
    blockCount: number,
    blockFrames: number,
    contrasts: Address,
  ) => void
  readonly upmixGate: (plane: Address, length: number, rampFrom: number, rampFrames: number, opens: boolean) => void
  readonly upmixTurnPair: (pair: Address, stride: number) => void
  readonly upmixJoinSpectra: (
    first: Address,
    second: Address,
    stride: number,
    length: number,
    re: Address,
    im: Address,
  ) => void
  readonly upmixOverlapAdd: (
    frame: Address,
    window: Address,
    length: number,
    plane: Address,
    from: number,
    frameCount: number,
  ) => void
  readonly upmixFronts: (
    left: Address,
    right: Address,
    centre: Address,
    leftSurround: Address,
    rightSurround: Address,
    leftOut: Address,
    rightOut: Address,
    frameCount: number,
    spread: number,
  ) => void
  readonly upmixMonoSum: (left: Address, right: Address, out: Address, frameCount: number, gain: number) => void
  readonly upmixSparseFilter: (
    input: Address,
    out: Address,
    frameCount: number,
    offsets: Address,
    gains: Address,
    tapCount: number,
  ) => void
}

// What the page is given, as types: payload.py says what each means.  Nothing here runs.

/**
 * @typedef {{ name: string, mm: number, digits: number, step: number }} LengthUnit
 * @typedef {{ length: Record<string, number>, angle: Record<string, number> }} UnitWords
 * @typedef {{ neutral: string, lost: string, met: string, missed: string, contact: string,
 *   touch: string, below: string, clear: string, governs: string, proven: string, exact: string,
 *   sampled: string, before: string }} Words
 *
 * @typedef {[start: number, step: number, count: number]} Axis
 * @typedef {[number, number]} Pair
 * @typedef {number[]} Vector  three numbers
 * @typedef {Record<string, number>} Position
 * @typedef {Record<string, number[]>} Limits
 *
 * @typedef {{ name: string, unit: string, per: number, digits: number, step: number,
 *   travel: Pair, words: [string, string], signed: boolean, axis: Axis, held: boolean }} InputHead
 * @typedef {{ name: string, on: number, inputs: number[], origin: Vector, at: number | null,
 *   points: Record<string, Vector> }} BodyHead
 * @typedef {{ name: string, ends: number[][], points: string[], length: number,
 *   radius: number | null }} RodHead
 * @typedef {{ name: string, words: [string, string], inputs: number[], deflection: number,
 *   gearing: Record<string, number>, body: number, chord: number | null, middle: Vector,
 *   half: Vector, edge: Vector }} SurfaceHead
 * @typedef {[first: number, count: number, radius: number, share?: Pair]} Piece
 * @typedef {{ name: string, carriers: number[], pieces: Piece[], bars: Piece[],
 *   faces: Pair[][] }} SolidHead
 * @typedef {[first: number, second: number, required: number, rule: string,
 *   inputs: number[], kept?: Pair]} PairHead
 * @typedef {{ carriers: number[], pieces: Piece[] }} KeptHead
 * @typedef {{ solid: number, name: string, pieces: Piece[], faces: Pair[][],
 *   kept: Record<string, number> }} Offered
 * @typedef {{ format: number, title: string, length: LengthUnit, typed: UnitWords, words: Words,
 *   caution: string, inputs: InputHead[], bodies: BodyHead[], driven: number[], rods: RodHead[],
 *   surfaces: SurfaceHead[], servos: { name: string, body: number }[], solids: SolidHead[], kept: KeptHead[],
 *   pairs: PairHead[], offered: Offered[], forms: Record<string, string[][]> }} Head
 *
 * @typedef {{ surface: string, input: string, word: string, required: number, within: number,
 *   found: number | null, ok: boolean, end: string, value: number,
 *   at: number | null }} RequiredRow
 * @typedef {{ name: string, input: string, side: string, angle: number | null, error: string,
 *   on: string | null, thickness: number, stock: number[], most: number,
 *   chart: [number[], (number | null)[]] | null, deflections: Record<string, number | null>,
 *   governs: boolean | null, reason: string }} StopRow
 * @typedef {{ least: number, proven: number, required: number, ok: boolean, rule: string,
 *   at: string, place: Position }} ProofRow
 * @typedef {{ kind: string, what: string, text: string, where: string, decided: boolean }} Missed
 * @typedef {{ sentence: string, build: string, old: boolean, missed: Missed[], unknown: string[],
 *   met: string[], covers: string[], aside?: string[], pairs: number, ways: Pair,
 *   bare: string[] }} Verdict
 * @typedef {{ solid: string, area: string,
 *   pairs: { pair: string, required: number, after: number }[] }} Cure
 * @typedef {{ stop: string, thickness: number, verdict: Verdict, proof: Proof | null,
 *   required: RequiredRow[], governs: Record<string, boolean> }} StockRow
 * @typedef {{ rows: Record<string, ProofRow>, said: string, for: string, limits: Limits,
 *   old: boolean }} Proof
 * @typedef {{ unit: string, of: string[], old?: boolean, inputs: Record<string,
 *   { axes: [string, number, number, number][], values: (number | null)[] }> }} Forces
 * @typedef {{ name: string, of: string, unit: string, drawn: number, now: number, least: number,
 *   greatest: number, step: number | null }} SizeRow
 * @typedef {{ target: string, wanted: string, found: string, ok: boolean }} TargetRow
 * @typedef {{ usable: number, boundaries: Record<string, Pair[]>, free: Pair[],
 *   old: boolean }} TravelMap
 * @typedef {{ address: string, label: string, values: (string | null)[], changed: string }} PartRow
 * @typedef {{ name: string, kind: string, rows: PartRow[] }} Part
 * @typedef {{ serial: number, heard: number, busy: string[], failed: string,
 *   ages: Record<string, number>, limits: Limits, wanted: Limits,
 *   directions: { text: string, miss: boolean, place: Position }[] | null, source: string,
 *   loads?: Record<string, string>, forces?: Forces | null,
 *   sizes?: SizeRow[], targets?: TargetRow[], file?: string, patched?: boolean,
 *   verdict: Verdict | null, cures: Cure[] | null, stock: StockRow[], required: RequiredRow[],
 *   stops: StopRow[], proof: Proof | null, map: TravelMap | null, parts: Part[], undo: number,
 *   changes: string[], ask_over: boolean, save_as: string }} State
 * @typedef {{ serial: number, position: Position, gaps: Record<string, number>,
 *   surfaces: Record<string, { deflection: number | null,
 *     gearing: Record<string, number | null> }> }} Exact
 * @typedef {{ n?: number, where?: string, text?: string, refused?: boolean }} Note
 *
 * @typedef {{ head: Head | string, state: State, exact: Exact | null, note: Note, moved_to: Position,
 *   shapes: string | DataView, grid: string | DataView, live: boolean }} Payload
 * @typedef {{ do: string, where?: string, [field: string]: unknown }} Request
 *
 * What a front end tells of its kernel, as far as it does.
 * @typedef {{ connect: (call: (...told: any[]) => void) => unknown,
 *   disconnect: (call: (...told: any[]) => void) => unknown }} Signal
 * @typedef {{ status?: string, connectionStatus?: string, isDisposed?: boolean,
 *   statusChanged?: Signal, connectionStatusChanged?: Signal, disposed?: Signal }} Kernel
 *
 * The front end's half of the widget, or what stands for it on a page from disk.
 * @typedef {{ get: <Name extends keyof Payload>(name: Name) => Payload[Name],
 *   on: (event: string, call: (...told: any[]) => void) => void,
 *   off: (event: string, call: (...told: any[]) => void) => void,
 *   send: (request: Request & { n: number }) => void,
 *   widget_manager?: { kernel?: Kernel | null } }} Model
 *
 * @typedef {{ position: Position, bodies: Float64Array[], reached: boolean }} Pose
 * @typedef {{ pair: number, gap: number, one: Vector, two: Vector }} Near
 * @typedef {{ touch: boolean, row: number, pair: number, at: Vector, text: string }} Mark
 * @typedef {{ low: Vector, high: Vector }} Box
 * @typedef {{ paper: string, ink: string, soft: string, line: string, structure: string,
 *   part: string, rod: string, mark: string, near: string, band: string, grid: string,
 *   pick: string, pick2: string, act: string, ok: string, b0: string, b1: string, b2: string,
 *   b3: string, b4: string, font: string }} Look
 */

export {};

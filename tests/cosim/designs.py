"""Sheets for the reference designs on each simulator, and faulty variants of their sources."""

from dataclasses import dataclass
from pathlib import Path

from padbench.sheet import Sheet, sheet_from_text

ROOT = Path(__file__).parents[2]
HDL = ROOT / "hdl"
_SHEET = ROOT / "sim" / "sheets" / "harbour-hdl.toml"

_TABLES = {
    "shift_register": """
role = "pad"
latch = "load"
buttons = "inputs"
serial = "serial"
parameters = { STAGES = 8 }
""",
    "fpga_pad": """
role = "pad"
serial = "serial"
system-clock = "clk"
frequency = "12 MHz"
reset = "reset"
answer = "260 ns"
setup = "84 ns"
after-reset = "released"
parameters = { STAGES = 8 }
""",
    "port_reader": """
role = "reader"
start = "start"
system-clock = "clk"
frequency = "12 MHz"
reset = "reset"
after-reset = "released"
keeps = true
pace = "40 ns"
""",
}
DESIGNS = tuple(_TABLES)


def sheet_text(
    design: str, simulator: str = "icarus", *, source: Path | None = None, passes: int = 1
) -> str:
    """The Harbour Street sheet with [hdl] for one of the references, or for a variant of it."""
    before = _SHEET.read_text().split("\n[hdl]")[0]
    language, ending = ("vhdl", "vhd") if simulator == "ghdl" else ("verilog", "v")
    source = source or HDL / language / f"{design}.{ending}"
    table = _TABLES[design]
    if passes > 1:
        before = before.replace("[poll]", f"[poll]\npasses = {passes}")
        table += f"parameters = {{ PASSES = {passes} }}\n"
    return (
        f"{before}\n[hdl]\nsources = ['{source}']\ntop = \"{design}\"\n"
        f'language = "{language}"\nsimulator = "{simulator}"{table}'
    )


def sheet_for(
    design: str, simulator: str = "icarus", *, source: Path | None = None, passes: int = 1
) -> Sheet:
    return sheet_from_text(sheet_text(design, simulator, source=source, passes=passes), "sheet")


@dataclass(frozen=True)
class Mutant:
    """A reference with text replaced; ``tells`` is the cause or finding that has to be named."""

    name: str
    design: str
    changes: tuple[tuple[str, str], ...]
    tells: str
    language: str = "verilog"
    passes: int = 1
    needs: tuple[str, ...] = ()

    def write(self, folder: Path) -> Path:
        ending = "v" if self.language == "verilog" else "vhd"
        text = (HDL / self.language / f"{self.design}.{ending}").read_text()
        for old, new in self.changes:
            assert text.count(old) >= 1, f"{self.name}: {old!r} is no longer in {self.design}"
            text = text.replace(old, new)
        path = folder / f"{self.name}.{ending}"
        path.write_text(text)
        return path


def _register(name: str, tells: str, *changes: tuple[str, str]) -> Mutant:
    return Mutant(name, "shift_register", changes, tells)


def _fpga(name: str, tells: str, *changes: tuple[str, str]) -> Mutant:
    return Mutant(name, "fpga_pad", changes, tells)


def _reader(name: str, tells: str, *changes: tuple[str, str], passes: int = 1) -> Mutant:
    return Mutant(name, "port_reader", changes, tells, passes=passes)


_OUT = "assign data = stages[STAGES-1];"
_SET, _CLEAR = "{STAGES{load}} & inputs;", "{STAGES{load}} & ~inputs;"
_SHIFT = "stages <= (stages << 1) | serial_in[1];"
_SWAPPED = "{inputs[7:4], inputs[2], inputs[3], inputs[1:0]};"
_FLIP = "posedge clock or posedge set[n] or posedge clear[n]"

PAD_MUTANTS = (
    _register(
        "order",
        "order-reversed",
        (
            "assign data = stages[STAGES-1]",
            "wire [STAGES-1:0] r; genvar k; generate "
            "for (k = 0; k < STAGES; k = k + 1) begin : rev "
            "assign r[k] = inputs[STAGES-1-k]; end endgenerate assign data = stages[STAGES-1]",
        ),
        (_SET, "{STAGES{load}} & r;"),
        (_CLEAR, "{STAGES{load}} & ~r;"),
    ),
    _register("falling", "wrong-edge", ("posedge clock", "negedge clock")),
    _register("synchronous", "synchronous-load", (_FLIP, "posedge clock")),
    _register("latch_inverted", "latch-inverted", ("{load}}", "{!load}}")),
    _register("data_inverted", "data-inverted", (_OUT, "assign data = ~stages[STAGES-1];")),
    _register(
        "buttons_inverted",
        "buttons-inverted",
        (_SET, "{STAGES{load}} & ~inputs;;"),
        ("{STAGES{load}} & ~inputs;\n", "{STAGES{load}} & inputs;\n"),
        (";;", ";"),
    ),
    _register("seven", "one-bit-early", (_OUT, "assign data = stages[STAGES-2];")),
    Mutant(
        "seven_first",
        "shift_register",
        (
            (
                "assign previous[n] = stages[n-1];",
                "assign previous[n] = n == 1 ? serial : stages[n-1];",
            ),
        ),
        "stages-missing",
        needs=("stopped-any-bit",),
    ),
    _register(
        "nine",
        "stages-extra",
        (
            _OUT,
            "reg extra; always @(posedge clock or posedge load) "
            "if (load) extra <= 1'b1; else extra <= stages[STAGES-1]; assign data = extra;",
        ),
    ),
    _register(
        "nine_first",
        "stages-extra",
        (
            "assign previous[n] = serial;",
            "reg extra; always @(posedge clock or posedge load) if (load) extra <= 1'b1; "
            "else extra <= serial; assign previous[n] = extra;",
        ),
    ),
    _register("serial_high", "serial-high", ("= serial;", "= 1'b1;")),
    Mutant(
        "serial_low",
        "shift_register",
        (("= serial;", "= 1'b0;"),),
        "serial-low",
        needs=("stopped-any-bit",),
    ),
    _register("serial_ring", "serial-ring", ("= serial;", "= stages[STAGES-1];")),
    _register("serial_open", "serial-open", ("= serial;", "= 1'bz;")),
    _register(
        "load_on_rise",
        "load-on-rise",
        ("{load}}", "{pulse}}"),
        (
            "reg  [STAGES-1:0] stages;",
            "reg  [STAGES-1:0] stages; reg pulse = 0; "
            "always @(posedge load) begin pulse = 1; #20 pulse = 0; end",
        ),
    ),
    _register(
        "load_on_fall",
        "data.transparent",
        ("{load}}", "{pulse}}"),
        (
            "reg  [STAGES-1:0] stages;",
            "reg  [STAGES-1:0] stages; reg pulse = 0; "
            "always @(negedge load) begin pulse = 1; #20 pulse = 0; end",
        ),
    ),
    _register(
        "needs_clock",
        "one-bit-late",
        (_OUT, "reg late; always @(posedge clock) late <= stages[STAGES-1]; assign data = late;"),
    ),
    _register(
        "swapped",
        "order-swapped",
        (_SET, f"{{STAGES{{load}}}} & {_SWAPPED}"),
        (_CLEAR, f"{{STAGES{{load}}}} & ~{_SWAPPED}"),
    ),
    _register(
        "stuck_stage",
        "stage-stuck",
        ("assign previous[n] = stages[n-1];", "assign previous[n] = n == 4 ? 1'b0 : stages[n-1];"),
        (_CLEAR, "({STAGES{load}} & ~inputs) | 8'h08;"),
        (_SET, "{STAGES{load}} & inputs & 8'hf7;"),
    ),
    _register(
        "stuck_input",
        "input-stuck",
        (_SET, "{STAGES{load}} & (inputs | 8'h20);"),
        (_CLEAR, "{STAGES{load}} & ~(inputs | 8'h20);"),
    ),
    _register("dead", "data-high", (_OUT, "assign data = 1'b1;")),
    _register("no_shift", "no-shift", ("stages[n] <= previous[n];", "stages[n] <= stages[n];")),
    _register(
        "no_load",
        "no-load",
        (_SET, "0;"),
        (_CLEAR, "0;"),
        ("reg  [STAGES-1:0] stages;", "reg  [STAGES-1:0] stages = 0;"),
    ),
    _register("unknown", "unknown-level", (_OUT, "assign data = 1'bx;")),
    _register("floating", "unknown-level", (_OUT, "assign data = load ? stages[STAGES-1] : 1'bz;")),
    _fpga(
        "not_synchronised",
        "data.synchroniser",
        ("clock_in[1] && !clock_was", "clock && !clock_was"),
        ("clock_was    <= clock_in[1];", "clock_was    <= clock;"),
    ),
    _fpga(
        "one_flip_flop",
        "data.synchroniser",
        ("clock_in[1] && !clock_was", "clock_in[0] && !clock_was"),
        ("clock_was    <= clock_in[1];", "clock_was    <= clock_in[0];"),
    ),
    _fpga(
        "glitch",
        "data.glitch",
        (
            _OUT,
            "reg was; always @(posedge clk) was <= latch_in[1]; "
            "assign data = stages[STAGES-1] ^ (latch_in[1] & ~was);",
        ),
    ),
    _fpga(
        "late",
        "data.answer",
        (_OUT, "reg late; always @(posedge clk) late <= stages[STAGES-1]; assign data = late;"),
    ),
    _fpga("both_edges", "both-edges", ("clock_in[1] && !clock_was", "clock_in[1] != clock_was")),
    _fpga("level_shift", "wrong-edge", ("clock_in[1] && !clock_was", "!clock_in[1] && clock_was")),
    _fpga(
        "short_latch",
        "first-clock-lost",
        (_SHIFT, f"begin if (!fresh) {_SHIFT} fresh <= 0; end"),
        ("stages <= buttons_in;", "begin stages <= buttons_in; fresh <= 1; end"),
        ("reg clock_was;", "reg clock_was; reg fresh;"),
    ),
    _fpga(
        "buttons_early",
        "load-on-rise",
        ("stages <= buttons_in;", "stages <= older;"),
        (
            "reg clock_was;",
            "reg clock_was; reg [STAGES-1:0] older; always @(posedge latch) older <= buttons;",
        ),
    ),
)

READER_MUTANTS = (
    _reader("r_order", "order-reversed", ("bits[place]", "bits[3'd7 - place]")),
    _reader("r_polarity", "data-inverted", ("~data_in[1]", "data_in[1]")),
    _reader(
        "r_late_sample",
        "one-bit-late",
        ("bits[place] <= ~data_in[1];", ""),
        ("HIGH: if (place", "HIGH: begin bits[place] = ~data_in[1]; if (place"),
        (
            "state <= IDLE;\n            end\n            default",
            "state <= IDLE;\n            end end\n            default",
        ),
    ),
    _reader(
        "r_seven_clocks", "clock-count", ("HIGH: if (place != 3'd0)", "HIGH: if (place != 3'd1)")
    ),
    _reader("r_no_strobe", "no-strobe", ("valid <= 1'b1;", "valid <= 1'b0;")),
    _reader(
        "r_valid_inverted",
        "valid-inverted",
        ("valid   <= 1'b0;", "valid <= 1'bX;"),
        ("valid <= 1'b1;", "valid <= 1'b0;"),
        ("1'bX", "1'b1"),
    ),
    _reader(
        "r_lets_go",
        "byte-not-kept",
        ("valid   <= 1'b0;", "valid <= 1'b0; if (valid) held <= 8'd0;"),
    ),
    _reader("r_pace", "reader.pace", ("left  <= LATCH_CYCLES - 1;", "left  <= LATCH_CYCLES - 3;")),
    _reader("r_latch_short", "timing.latch-width", ("left  <= LATCH_CYCLES - 1;", "left  <= 0;")),
    _reader(
        "r_latch_inverted",
        "latch-inverted",
        ("latch <= 1'b1;", "latch <= 1'bX;"),
        ("latch <= 1'b0;", "latch <= 1'b1;"),
        ("latch   <= 1'b0;", "latch   <= 1'b1;"),
        ("1'bX", "1'b0"),
    ),
    _reader("r_stuck_bit", "bit-stuck", ("held  <= bits;", "held  <= bits | 8'h10;")),
    _reader(
        "r_poll_late",
        "one-poll-late",
        ("held  <= bits;", "held  <= last; last <= bits;"),
        ("reg [1:0]  data_in;", "reg [1:0]  data_in; reg [7:0] last = 0;"),
    ),
    _reader("r_never_compares", "no-compare", ("PASSES == 1 || bits == first", "1"), passes=2),
    _reader(
        "r_swapped",
        "order-swapped",
        ("held  <= bits;", "held  <= {bits[7:4], bits[2], bits[3], bits[1:0]};"),
    ),
    _reader("r_clock_short", "timing.clock-low", ("left  <= CLOCK_LOW - 1;", "left  <= 0;")),
)

"""Pads and readers in other styles than those of hdl/, correct and faulty, in Verilog."""

# ruff: noqa: E501 - a change of Verilog stands on one line

from dataclasses import dataclass, replace
from pathlib import Path

from designs import HDL, ROOT

_SHEET = (ROOT / "sim" / "sheets" / "harbour-hdl.toml").read_text().split("\n[hdl]")[0]


@dataclass(frozen=True)
class Style:
    """``text`` is a whole source with a module ``pad``; ``keys`` are the lines of [hdl].

    ``ending`` of the source: "v", "sv" or "vhd".
    """

    name: str
    text: str
    keys: str
    sheet: tuple[tuple[str, str], ...] = ()
    ending: str = "v"

    def write(self, folder: Path) -> str:
        """The sheet's text; the source goes into the folder."""
        source = folder / f"{self.name}.{self.ending}"
        source.write_text(self.text)
        before = _SHEET
        for old, new in self.sheet:
            assert old in before
            before = before.replace(old, new)
        language = "vhdl" if self.ending == "vhd" else "verilog"
        head = f'sources = [\'{source}\']\ntop = "pad"\nlanguage = "{language}"\n'
        return f"{before}\n[hdl]\n{head}{self.keys}"

    def changed(self, name: str, *changes: tuple[str, str]) -> "Style":
        """The same with something replaced."""
        text = self.text
        for old, new in changes:
            assert old in text, f"{name}: {old!r}"
            text = text.replace(old, new)
        return replace(self, name=name, text=text)


CLOCKED = 'serial = "serial"\nsystem-clock = "clk"\nfrequency = "12 MHz"\nreset = "reset"\n'
_HEAD = """module pad(input clk, input reset, input latch, input clock, input serial,
    input [7:0] buttons, output data);
"""

FPGA = Style(
    "fpga",
    (HDL / "verilog" / "fpga_pad.v").read_text().replace("module fpga_pad", "module pad"),
    CLOCKED,
)

COUNTER = Style(
    "counter",
    _HEAD
    + """    // A counter picks the button: no shift register at all.
    reg [2:0] l, c; reg [7:0] b0, b, held; reg [3:0] n;
    always @(posedge clk) begin
        l <= {l[1:0], latch}; c <= {c[1:0], clock}; b0 <= buttons; b <= b0;
        if (l[1]) begin held <= b; n <= 0; end
        else if (c[1] & ~c[2] & ~n[3]) n <= n + 1;
        if (reset) begin l <= 0; c <= 7; n <= 0; held <= 8'hff; end
    end
    assign data = n[3] ? 1'b0 : held[7 - n[2:0]];
endmodule
""",
    CLOCKED.replace('serial = "serial"\n', ""),
)

ONE_HOT = Style(
    "one_hot",
    _HEAD
    + """    reg [2:0] l, c; reg [7:0] b0, b, held, at;
    always @(posedge clk) begin
        l <= {l[1:0], latch}; c <= {c[1:0], clock}; b0 <= buttons; b <= b0;
        if (l[1]) begin held <= b; at <= 8'h80; end
        else if (c[1] & ~c[2]) at <= at >> 1;
        if (reset) begin l <= 0; c <= 7; at <= 0; end
    end
    assign data = |(held & at);
endmodule
""",
    CLOCKED.replace('serial = "serial"\n', ""),
)

FILTER = Style(
    "filter",
    _HEAD
    + """    // Latch and clock count when they were alike in four samples, 333 ns.
    reg [1:0] l0, c0; reg [3:0] lh, ch; reg l, c, cw, s; reg [7:0] b0, b, stages;
    always @(posedge clk) begin
        l0 <= {l0[0], latch}; c0 <= {c0[0], clock};
        lh <= {lh[2:0], l0[1]}; ch <= {ch[2:0], c0[1]};
        if (&lh) l <= 1; else if (~|lh) l <= 0;
        if (&ch) c <= 1; else if (~|ch) c <= 0;
        b0 <= buttons; b <= b0; cw <= c; s <= serial;
        if (l) stages <= b; else if (c & ~cw) stages <= {stages[6:0], s};
        if (reset) begin l <= 0; lh <= 0; c <= 1; cw <= 1; ch <= 15; stages <= 8'hff; end
    end
    assign data = stages[7];
endmodule
""",
    CLOCKED + 'answer = "760 ns"\n',
)

DEBOUNCED = Style(
    "debounced",
    _HEAD
    + """    // Each button has to stand still for some time until it counts.
    reg [1:0] l, c; reg cw, s; reg [7:0] b0, b, good, stages; reg [15:0] still;
    always @(posedge clk) begin
        l <= {l[0], latch}; c <= {c[0], clock}; cw <= c[1]; s <= serial;
        b0 <= buttons; b <= b0;
        still <= b0 != b ? 0 : still == 12000 ? still : still + 1;
        if (still == 12000) good <= b;
        if (l[1]) stages <= good; else if (c[1] & ~cw) stages <= {stages[6:0], s};
        if (reset) begin l <= 0; c <= 3; cw <= 1; still <= 0; good <= 8'hff; stages <= 8'hff; end
    end
    assign data = stages[7];
endmodule
""",
    CLOCKED + 'answer = "260 ns"\nlatency = "1.01 ms"\n',
)

FED = Style(
    "fed",
    _HEAD
    + """    // Buttons come one after the other, as from a chain of their own: 20 us for all of them.
    reg [1:0] l, c; reg cw, s; reg [7:0] good, stages; reg [7:0] tick;
    always @(posedge clk) begin
        l <= {l[0], latch}; c <= {c[0], clock}; cw <= c[1]; s <= serial;
        tick <= tick + 1;
        if (&tick[4:0]) good[tick[7:5]] <= buttons[tick[7:5]];
        if (l[1]) stages <= good; else if (c[1] & ~cw) stages <= {stages[6:0], s};
        if (reset) begin l <= 0; c <= 3; cw <= 1; tick <= 0; good <= 8'hff; stages <= 8'hff; end
    end
    assign data = stages[7];
endmodule
""",
    CLOCKED + 'answer = "260 ns"\nlatency = "22 us"\n',
)

OPEN_DRAIN = Style(
    "open_drain",
    FPGA.text.replace("assign data = stages[STAGES-1];", "assign data = stages[7] ? 1'bz : 1'b0;"),
    CLOCKED + "open-drain = true\n",
)

INVERTED_RESET = FPGA.changed(
    "inverted_reset",
    ("input  wire              reset,", "input reset_n,"),
    ("if (reset)", "if (!reset_n)"),
)
INVERTED_RESET = Style(
    "inverted_reset",
    INVERTED_RESET.text,
    CLOCKED.replace('reset = "reset"', 'reset = "reset_n"\ninverted = ["reset"]'),
)

FAST_CLOCK = Style(
    "fast_clock", FPGA.text, CLOCKED.replace("12 MHz", "24 MHz") + 'answer = "130 ns"\n'
)

NEUTRAL = Style(
    "neither",
    FPGA.text.replace(
        "buttons_in   <= buttons_meta;",
        "buttons_in <= {buttons_meta[7:4], buttons_meta[3:2] | {2{~|buttons_meta[3:2]}},"
        " buttons_meta[1:0] | {2{~|buttons_meta[1:0]}}};",
    ),
    CLOCKED + 'after-reset = "released"\nsetup = "84 ns"\n',
    (("[contacts]", '[policy]\nopposite-directions = "neither"\n\n[contacts]'),),
)

UNCLOCKED = Style(
    "unclocked",
    """module pad(input latch, input clock, input [7:0] buttons, output data);
    // A latch of its own, and a counter that the latch holds at 0.
    reg [7:0] held; reg [3:0] n;
    always @(*) if (latch) held = buttons;
    always @(posedge clock or posedge latch) if (latch) n <= 0; else if (!n[3]) n <= n + 1;
    assign data = n[3] ? 1'b0 : held[7 - n[2:0]];
endmodule
""",
    "",
)

GOOD = (
    COUNTER,
    ONE_HOT,
    FILTER,
    DEBOUNCED,
    FED,
    OPEN_DRAIN,
    INVERTED_RESET,
    FAST_CLOCK,
    NEUTRAL,
    UNCLOCKED,
    FPGA,
)

_SLEEP = "reg [19:0] idle; always @(posedge clk) idle <= latch_in[1] ? 0 : &idle ? idle : idle + 1;"
_END = "assign data = stages[STAGES-1];"
BAD = (
    COUNTER.changed(
        "gives_up",
        ("reg [3:0] n;", "reg [3:0] n; reg [9:0] w;"),
        (
            "if (reset) begin",
            "w <= c[1] & ~c[2] ? 0 : &w ? w : w + 1; if (w == 600 && n != 0) n <= 8; if (reset) begin w <= 0;",
        ),
    ),
    FPGA.changed(
        "sleeps",
        (_END, f"{_SLEEP} assign data = idle > 60000 | stages[STAGES-1];"),
        ("stages <= buttons_in;", "stages <= idle > 60000 ? 8'hff : buttons_in;"),
    ),
    FPGA.changed(
        "sleeps_once",
        (
            _END,
            f"{_SLEEP} reg asleep; always @(posedge clk) if (reset) asleep <= 0; else if (idle > 60000) asleep <= 1; else if (idle == 100) asleep <= 0; {_END}",
        ),
        ("stages <= buttons_in;", "stages <= asleep ? 8'hff : buttons_in;"),
    ),
    COUNTER.changed(
        "wraps_16", ("& ~n[3]) n", ") n"), ("n[3] ? 1'b0 : held", "n[3] ? 1'b0 : held")
    ),
    COUNTER.changed(
        "wraps_32",
        ("& ~n[3]) n", ") n"),
        ("reg [3:0] n", "reg [4:0] n"),
        ("n[3] ? 1'b0", "n[4:3] != 0 ? 1'b0"),
    ),
    COUNTER.changed(
        "wraps_64",
        ("& ~n[3]) n", ") n"),
        ("reg [3:0] n", "reg [5:0] n"),
        ("n[3] ? 1'b0", "n[5:3] != 0 ? 1'b0"),
    ),
    COUNTER.changed(
        "wraps_256",
        ("& ~n[3]) n", ") n"),
        ("reg [3:0] n", "reg [7:0] n"),
        ("n[3] ? 1'b0", "n[7:3] != 0 ? 1'b0"),
    ),
    FPGA.changed(
        "read_65",
        (
            _END,
            "reg [15:0] reads; reg lw; always @(posedge clk) begin lw <= latch_in[1]; if (reset) reads <= 0; else if (latch_in[1] & ~lw) reads <= reads + 1; end assign data = stages[STAGES-1] & reads != 65;",
        ),
    ),
    FPGA.changed(
        "read_65_high",
        (
            _END,
            "reg [15:0] reads; reg lw; always @(posedge clk) begin lw <= latch_in[1]; if (reset) reads <= 0; else if (latch_in[1] & ~lw) reads <= reads + 1; end assign data = stages[STAGES-1] | reads == 65;",
        ),
    ),
    FPGA.changed(
        "read_65_start",
        (
            _END,
            "reg [15:0] reads; reg lw; always @(posedge clk) begin lw <= latch_in[1]; if (reset) reads <= 0; else if (latch_in[1] & ~lw) reads <= reads + 1; end "
            + _END,
        ),
        ("stages <= buttons_in;", "stages <= buttons_in | {3'b0, reads == 65, 4'b0};"),
    ),
    FPGA.changed(
        "slow_answer",
        (
            _END,
            "reg [71:0] late; always @(posedge clk) late <= {late[70:0], stages[STAGES-1]}; assign data = late[71];",
        ),
    ),
    FPGA.changed(
        "clock_in_latch",
        (
            "stages <= buttons_in;",
            "if (!(clock_in[1] && !clock_was)) stages <= buttons_in; else shifts <= shifts + 1;",
        ),
        ("reg clock_was;", "reg clock_was; reg [1:0] shifts = 0;"),
        (_END, "assign data = shifts != 0 ? stages[STAGES-2] : stages[STAGES-1];"),
    ),
    FPGA.changed(
        "masks", ("stages <= buttons_in;", "stages <= buttons_in | {2'b0, ~buttons_in[7], 5'b0};")
    ),
    FPGA.changed(
        "remembers",
        ("stages <= buttons_in;", "stages <= buttons_in & (fresh ? 8'hff : old);"),
        (
            "reg clock_was;",
            "reg clock_was; reg fresh = 0; reg [7:0] old = 8'hff; always @(negedge latch) old <= buttons;",
        ),
    ),
    FPGA.changed(
        "loses_extra",
        ("clock_in[1] && !clock_was", "clock_in[1] && !clock_was && wait_ > 30"),
        (
            "reg clock_was;",
            "reg clock_was; reg [7:0] wait_ = 255; always @(posedge clk) wait_ <= (clock_in[1] && !clock_was) ? 0 : &wait_ ? wait_ : wait_ + 1;",
        ),
    ),
    COUNTER.changed(
        "no_extra",
        ("c[1] & ~c[2] & ~n[3]", "c[1] & ~c[2] & ~n[3] & (w > 30)"),
        (
            "reg [3:0] n;",
            "reg [3:0] n; reg [7:0] w = 255; always @(posedge clk) w <= c[1] & ~c[2] ? 0 : &w ? w : w + 1;",
        ),
    ),
    FPGA.changed("latch_inverted", ("if (latch_in[1])", "if (!latch_in[1])")),
    OPEN_DRAIN.changed("drives_z_for_low", ("stages[7] ? 1'bz : 1'b0", "stages[7] ? 1'b1 : 1'bz")),
    DEBOUNCED.changed("debounce_2ms", ("12000", "24000")),
    DEBOUNCED.changed("debounce_forgets", ("good <= b;", "good <= b | 8'h04;")),
    NEUTRAL.changed("policy_wrong", ("{2{~|buttons_meta[3:2]}}", "2'b00")),
    UNCLOCKED.changed(
        "counter_late", ("or posedge latch) if (latch) n <= 0", ") if (latch) n <= 0")
    ),
    UNCLOCKED.changed(
        "sleeps_unclocked",
        (
            "reg [3:0] n;",
            "reg [3:0] n; reg awake = 1; always @(negedge latch) begin awake = 1; fork : f #5000000 awake = 0; join end",
        ),
        ("held = buttons", "held = awake ? buttons : 8'hff"),
    ),
)

_READER = (
    (HDL / "verilog" / "port_reader.v").read_text().replace("module port_reader", "module pad")
)
READER = Style(
    "reader",
    _READER,
    'role = "reader"\nstart = "start"\nsystem-clock = "clk"\nfrequency = "12 MHz"\nreset = "reset"\n',
)
GOOD_READERS = (READER,)
BAD_READERS = (
    # The clock idles low, and each bit is taken just after the rise, before a slow pad moves.
    READER.changed(
        "idles_low",
        (
            "SETTLE: begin\n                clock <= 1'b0;",
            "SETTLE: begin\n                clock <= 1'b1;",
        ),
        (
            "clock       <= 1'b1;\n                left        <= CLOCK_HIGH - 1;",
            "clock       <= 1'b0;\n                left        <= CLOCK_HIGH - 1;",
        ),
        (
            "place <= place - 3'd1;\n                clock <= 1'b0;",
            "place <= place - 3'd1;\n                clock <= 1'b1;",
        ),
        ("clock   <= 1'b1;", "clock   <= 1'b0;"),
        ("left  <= CLOCK_LOW - 1;", "left  <= 2;"),
    ),
    READER.changed(
        "late_by_three",
        ("bits[place] <= ~data_in[1];", ""),
        (
            "data_in <= {data_in[0], data};",
            "data_in <= {data_in[0], data}; if (state == HIGH && left == CLOCK_HIGH - 4) bits[place] <= ~data_in[1];",
        ),
    ),
)

"""More pads and readers, correct and faulty, in Verilog, SystemVerilog and VHDL: for tests/bench."""

# ruff: noqa: E501 - a change of Verilog stands on one line

from styles import CLOCKED, COUNTER, DEBOUNCED, FPGA, OPEN_DRAIN, READER, UNCLOCKED, Style

_HEAD = """module pad(input clk, input reset, input latch, input clock, input serial,
    input [7:0] buttons, output data);
"""
_NO_SERIAL = CLOCKED.replace('serial = "serial"\n', "")

OUTPUT_REGISTER = Style(
    "output_register",
    _HEAD
    + """    reg [2:0] l, c; reg [7:0] b0, b, held; reg [3:0] n; reg out;
    always @(posedge clk) begin
        l <= {l[1:0], latch}; c <= {c[1:0], clock}; b0 <= buttons; b <= b0;
        if (l[1]) begin held <= b; n <= 0; end
        else if (c[1] & ~c[2] & ~n[3]) n <= n + 1;
        out <= n[3] ? 1'b0 : held[~n[2:0]];
        if (reset) begin l <= 0; c <= 7; n <= 0; held <= 8'hff; out <= 1; end
    end
    assign data = out;
endmodule
""",
    _NO_SERIAL + 'answer = "340 ns"\n',
)

FALLING = FPGA.changed("falling_system_clock", ("always @(posedge clk)", "always @(negedge clk)"))

BOUNDED = Style(
    "debounced_bounded",
    DEBOUNCED.text.replace("12000", "12").replace("[15:0] still", "[3:0] still"),
    CLOCKED + 'answer = "260 ns"\nlatency = "1.5 us"\n',
)

ENABLED = Style(
    "clock_enable",
    _HEAD
    + """    // Everything at a quarter of a faster clock.
    reg [1:0] phase; reg [1:0] l, c, s; reg cw; reg [7:0] b0, b, stages;
    always @(posedge clk) begin
        phase <= phase + 1;
        if (phase == 0) begin
            l <= {l[0], latch}; c <= {c[0], clock}; cw <= c[1]; s <= {s[0], serial};
            b0 <= buttons; b <= b0;
            if (l[1]) stages <= b; else if (c[1] & ~cw) stages <= {stages[6:0], s[1]};
        end
        if (reset) begin phase <= 0; l <= 0; c <= 3; cw <= 1; stages <= 8'hff; end
    end
    assign data = stages[7];
endmodule
""",
    CLOCKED.replace("12 MHz", "48 MHz") + 'answer = "340 ns"\n',
)

SYSTEM = Style(
    "system_verilog",
    """module pad(input logic clk, reset, latch, clock, serial, input logic [7:0] buttons, output logic data);
    typedef enum logic {LOADING, SHIFTING} state_t;
    state_t state; logic [2:0] l, c; logic [1:0] s; logic [1:0][7:0] b; logic [7:0] stages;
    always_ff @(posedge clk)
        if (reset) begin state <= SHIFTING; l <= '0; c <= '1; stages <= '1; end
        else begin
            l <= {l[1:0], latch}; c <= {c[1:0], clock}; s <= {s[0], serial}; b <= {b[0], buttons};
            unique case (l[1] ? LOADING : SHIFTING)
                LOADING: stages <= b[1];
                SHIFTING: if (c[2:1] == 2'b01) stages <= {stages[6:0], s[1]};
            endcase
            state <= l[1] ? LOADING : SHIFTING;
        end
    assign data = stages[7];
endmodule
""",
    CLOCKED,
    ending="sv",
)

PER_STAGE = Style(
    "per_stage",
    """module stage(input clock, input load, input in, input previous, output reg q);
    // A flip-flop with a transparent load, stage by stage.
    wire set = load & in, clear = load & ~in;
    always @(posedge clock or posedge set or posedge clear)
        if (set) q <= 1'b1; else if (clear) q <= 1'b0; else q <= previous;
endmodule
module pad(input latch, input clock, input serial, input [7:0] buttons, output data);
    wire [8:0] q; assign q[0] = serial;
    genvar n;
    generate for (n = 0; n < 8; n = n + 1) begin : all
        stage one(.clock(clock), .load(latch), .in(buttons[n]), .previous(q[n]), .q(q[n+1]));
    end endgenerate
    assign data = q[8];
endmodule
""",
    'serial = "serial"\n',
)

_VHDL = """library ieee; use ieee.std_logic_1164.all; use ieee.numeric_std.all;
entity pad is port (clk, reset, latch, clock, serial : in std_logic;
    buttons : in std_logic_vector(7 downto 0); data : out std_logic); end entity;
architecture rtl of pad is
"""

VHDL_COUNTER = Style(
    "vhdl_counter",
    _VHDL
    + """    signal l, c : std_logic_vector(2 downto 0); signal b0, b, held : std_logic_vector(7 downto 0);
    signal n : unsigned(3 downto 0);
begin
    process (clk) begin
        if rising_edge(clk) then
            l <= l(1 downto 0) & latch; c <= c(1 downto 0) & clock; b0 <= buttons; b <= b0;
            if l(1) = '1' then held <= b; n <= (others => '0');
            elsif c(1) = '1' and c(2) = '0' and n(3) = '0' then n <= n + 1; end if;
            if reset = '1' then
                l <= "000"; c <= "111"; n <= (others => '0'); held <= (others => '1');
            end if;
        end if;
    end process;
    data <= '0' when n(3) = '1' else held(7 - to_integer(n(2 downto 0)));
end architecture;
""",
    _NO_SERIAL,
    ending="vhd",
)

VHDL_RECORD = Style(
    "vhdl_record",
    _VHDL
    + """    type state is record l, c : std_logic_vector(1 downto 0); was, s0, s1 : std_logic;
        b0, b1, stages : std_logic_vector(7 downto 0); end record;
    signal r, rin : state;
begin
    process (r, reset, latch, clock, serial, buttons) variable v : state; begin
        v := r;
        v.l := r.l(0) & latch; v.c := r.c(0) & clock; v.was := r.c(1);
        v.s0 := serial; v.s1 := r.s0; v.b0 := buttons; v.b1 := r.b0;
        if r.l(1) = '1' then v.stages := r.b1;
        elsif r.c(1) = '1' and r.was = '0' then v.stages := r.stages(6 downto 0) & r.s1; end if;
        if reset = '1' then v.l := "00"; v.c := "11"; v.was := '1'; v.stages := x"FF"; end if;
        rin <= v;
    end process;
    process (clk) begin if rising_edge(clk) then r <= rin; end if; end process;
    data <= r.stages(7);
end architecture;
""",
    CLOCKED,
    ending="vhd",
)

_READER_KEYS = 'role = "reader"\nsystem-clock = "clk"\nfrequency = "12 MHz"\nreset = "reset"\nstart = "start"\n'
TIMELINE = Style(
    "timeline_reader",
    """module pad(input clk, reset, start, data, output latch, clock, output reg [7:0] held, output reg valid);
    // One counter runs through the whole read; wires and samples are places in it.
    reg [9:0] t; reg [1:0] d; reg [7:0] bits; reg l, c; reg [6:0] part; reg [3:0] n;
    assign latch = l, clock = c;
    always @(posedge clk) begin
        d <= {d[0], data}; valid <= 0;
        if (t == 0) begin if (start) begin t <= 1; l <= 1; end end
        else if (t < 107) t <= t + 1;
        else if (t < 107 + 66) begin l <= 0; t <= t + 1; part <= 0; n <= 0; end
        else begin
            part <= part == 73 ? 0 : part + 1;
            if (part == 0) c <= 0;
            if (part == 7) begin c <= 1; bits <= {bits[6:0], ~d[1]}; n <= n + 1; end
            if (part == 73 && n == 8) begin held <= bits; valid <= 1; t <= 0; end
        end
        if (reset) begin t <= 0; l <= 0; c <= 1; held <= 0; n <= 0; part <= 0; d <= 3; end
    end
endmodule
""",
    _READER_KEYS,
)

TWICE = Style(
    "reader_twice",
    READER.text,
    READER.keys + "parameters = { PASSES = 2 }\n",
    (("[poll]", "[poll]\npasses = 2"),),
)

FREE = Style(
    "free_reader",
    READER.text.replace("input  wire       start,", "").replace("if (start) begin", "begin"),
    READER.keys.replace('start = "start"\n', ""),
)

_LOAD, _END = "stages <= buttons_in;", "assign data = stages[STAGES-1];"

MORE_GOOD = (
    OUTPUT_REGISTER,
    FALLING,
    BOUNDED,
    ENABLED,
    SYSTEM,
    PER_STAGE,
    VHDL_COUNTER,
    VHDL_RECORD,
    TIMELINE,
    TWICE,
    FREE,
    # What these do otherwise stays within what the sheet promises and what a console can see.
    FPGA.changed(
        "loads_live",
        ("if (latch_in[1])", "if (latch_in[0] & latch_in[1])"),
        (_LOAD, "stages <= buttons;"),
    ),
    COUNTER.changed(
        "loads_after",
        ("begin held <= b; n <= 0; end", "begin held <= b0; n <= 0; end"),
        ("b <= b0;", "b <= b0; if (~l[1] & l[2]) held <= b;"),
    ),
    BOUNDED.changed("bounded_15", ("== 12", "== 15")),
    FREE.changed(
        "free_clears", ("valid   <= 1'b0;", "valid <= 1'b0; if (state == LATCHED) held <= 8'd0;")
    ),
)

_SHIFT = "stages <= (stages << 1) | serial_in[1];"
MORE_BAD = (
    FPGA.changed(
        "one_transition",
        (_LOAD, "stages <= buttons_in ^ (buttons_in == 60 && old == 113);"),
        (
            "reg clock_was;",
            "reg clock_was, latch_was; reg [7:0] old; always @(posedge clk) begin latch_was <= latch_in[1]; if (latch_was && !latch_in[1]) old <= stages; end",
        ),
    ),
    FPGA.changed(
        "first_read_after_reset",
        ("reg clock_was;", "reg clock_was; reg first;"),
        (_SHIFT, f"begin {_SHIFT} first <= 0; end"),
        (_LOAD, "stages <= buttons_in | {8{first}};"),
        ("if (reset) begin", "if (reset) begin first <= 1;"),
    ),
    FPGA.changed(
        "serial_after_eight",
        ("reg clock_was;", "reg clock_was; reg [4:0] n;"),
        (_SHIFT, "begin stages <= (stages << 1) | (n < 12 & serial_in[1]); n <= n + (n < 12); end"),
        (_LOAD, "begin stages <= buttons_in; n <= 0; end"),
        ("(n < 12 & serial_in[1])", "(n == 9 | serial_in[1])"),
    ),
    FPGA.changed(
        "opposites_cleared",
        (_LOAD, "stages <= buttons_in | {6'b0, {2{~|buttons_in[1:0]}}};"),
    ),
    FPGA.changed(
        "all_eight",
        (_LOAD, "stages <= buttons_in | {8{~|buttons_in}};"),
    ),
    FPGA.changed(
        "three_kept",
        (_LOAD, "stages <= buttons_in | {8{buttons_in == 8'h1f}};"),
    ),
    FPGA.changed("last_stage_low", (_SHIFT, "stages <= (stages << 1);")),
    FPGA.changed(
        "one_cycle_short",
        ("if (latch_in[1])", "if (latch & latch_in[1])"),
    ),
    FPGA.changed(
        "data_on_falling_edge", ("clock_in[1] && !clock_was", "!clock_in[1] && clock_was")
    ),
    FPGA.changed(
        "slow_after_sixth",
        (
            _END,
            "reg [2:0] n; reg [99:0] late; always @(posedge clk) begin late <= {late[98:0], stages[STAGES-1]}; if (latch_in[1]) n <= 0; else if (clock_in[1] && !clock_was) n <= n + 1; end assign data = n == 6 ? late[99] : stages[STAGES-1];",
        ),
    ),
    FPGA.changed(
        "clocks_in_all",
        (
            "reg clock_was;",
            "reg clock_was; reg [9:0] many;",
        ),
        (
            _SHIFT,
            "begin stages <= ((stages << 1) | serial_in[1]) ^ (many == 700); many <= many + 1; end",
        ),
        ("if (reset) begin", "if (reset) begin many <= 0;"),
    ),
    OPEN_DRAIN.changed("never_lets_go", ("stages[7] ? 1'bz : 1'b0", "stages[7] ? 1'b1 : 1'bx")),
    COUNTER.changed(
        "late_load",
        ("b <= b0;", "b <= b0; if (~l[1] & l[2]) held <= buttons;"),
    ),
    COUNTER.changed(
        "one_too_many", ("n[3] ? 1'b0 : held", "n > 8 ? 1'b0 : n == 8 ? held[7] : held")
    ),
    UNCLOCKED.changed(
        "unclocked_open",
        ("else if (!n[3]) n", "else if (n != 12) n"),
        ("n[3] ? 1'b0", "n == 12 ? 1'b1 : n[3] ? 1'b0"),
    ),
    UNCLOCKED.changed("unclocked_wraps", ("else if (!n[3]) n", "else n")),
    BOUNDED.changed("bounded_too_long", ("== 12", "== 40"), ("[3:0] still", "[5:0] still")),
    BOUNDED.changed("bounded_stuck", ("good <= b;", "good <= b & good;")),
    ENABLED.changed(
        "misses_edges",
        ("l[1]) stages <= b; else if (c[1] & ~cw)", "l[1]) stages <= b; else if (c[1] & ~c[0])"),
    ),
    VHDL_COUNTER.changed("vhdl_wraps", (" and n(3) = '0'", "")),
    VHDL_COUNTER.changed("vhdl_reversed", ("held(7 - to_integer", "held(to_integer")),
    VHDL_RECORD.changed("vhdl_serial", ("& r.s1;", "& '1';")),
    VHDL_RECORD.changed(
        "vhdl_masks",
        ("v.stages := r.b1;", "v.stages := r.b1; v.stages(0) := r.b1(0) or not r.b1(1);"),
    ),
    TIMELINE.changed(
        "timeline_first",
        (
            "part == 7) begin c <= 1; bits",
            "part == 12) begin c <= 1; end if (part == 16) begin bits",
        ),
    ),
    TIMELINE.changed("timeline_nine", ("n == 8)", "n == 9)")),
    TIMELINE.changed(
        "offers_before",
        (
            "if (part == 7)",
            "if (part == 8 && n == 8) begin held <= bits; valid <= 1; end if (part == 7)",
        ),
        ("begin held <= bits; valid <= 1; t <= 0; end", "t <= 0;"),
    ),
    TIMELINE.changed(
        "one_byte", ("held <= bits; valid", "held <= bits == 8'h96 ? 8'h69 : bits; valid")
    ),
    TWICE.changed("compares_seven", ("bits == first", "bits[7:1] == first[7:1]")),
    TWICE.changed(
        "offers_first_pass", ("held  <= bits;", "held  <= bits | first;"), ("bits == first", "1")
    ),
    READER.changed("sticky", ("held  <= bits;", "held  <= bits | (held & 8'h08);")),
)

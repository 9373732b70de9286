-- The console side: on start it makes the latch and eight clocks, samples data at the end of each
-- low part of the clock, and offers the byte with a strobe.
--
-- With PASSES = 2 it reads twice and strobes only when both agree (the usual cure for a read that
-- was clocked once too often); start it again to try again. Times are in cycles of clk; the
-- defaults make the plain poll of about one scan line at 12 MHz.
library ieee;
use ieee.std_logic_1164.all;

entity port_reader is
    generic (
        LATCH_CYCLES   : positive := 107;       -- latch high
        LATCH_TO_CLOCK : positive := 65;        -- latch low, before the first clock
        CLOCK_LOW      : positive := 7;
        CLOCK_HIGH     : positive := 67;
        PASSES         : positive := 1          -- 1 or 2
    );
    port (
        clk   : in  std_logic;
        reset : in  std_logic;                  -- synchronous, active high
        start : in  std_logic;
        latch : out std_logic;
        clock : out std_logic;
        data  : in  std_logic;                  -- low is pressed
        held  : out std_logic_vector(7 downto 0);  -- 1 is pressed; A is bit 7, Right is bit 0
        valid : out std_logic                   -- high for one cycle
    );
end entity;

architecture rtl of port_reader is
    type states is (IDLE, LATCHED, SETTLE, LOW, HIGH);
    signal state       : states;
    signal left        : natural range 0 to 65535;
    signal place       : natural range 0 to 7;
    signal again       : std_logic;
    signal bits, first : std_logic_vector(7 downto 0);
    signal data_in     : std_logic_vector(1 downto 0);
begin
    process (clk)
    begin
        if rising_edge(clk) then
            data_in <= data_in(0) & data;
            valid   <= '0';
            if left /= 0 then
                left <= left - 1;
            else
                case state is
                    when IDLE =>
                        if start = '1' then
                            again <= '0';
                            latch <= '1';
                            left  <= LATCH_CYCLES - 1;
                            state <= LATCHED;
                        end if;
                    when LATCHED =>
                        latch <= '0';
                        place <= 7;
                        left  <= LATCH_TO_CLOCK - 1;
                        state <= SETTLE;
                    when SETTLE =>
                        clock <= '0';
                        left  <= CLOCK_LOW - 1;
                        state <= LOW;
                    when LOW =>
                        bits(place) <= not data_in(1);
                        clock       <= '1';
                        left        <= CLOCK_HIGH - 1;
                        state       <= HIGH;
                    when HIGH =>
                        if place /= 0 then
                            place <= place - 1;
                            clock <= '0';
                            left  <= CLOCK_LOW - 1;
                            state <= LOW;
                        elsif PASSES = 2 and again = '0' then
                            first <= bits;
                            again <= '1';
                            latch <= '1';
                            left  <= LATCH_CYCLES - 1;
                            state <= LATCHED;
                        else
                            if PASSES = 1 or bits = first then
                                held  <= bits;
                                valid <= '1';
                            end if;
                            state <= IDLE;
                        end if;
                end case;
            end if;
            if reset = '1' then
                state   <= IDLE;
                left    <= 0;
                latch   <= '0';
                clock   <= '1';
                held    <= (others => '0');
                data_in <= "11";
            end if;
        end if;
    end process;
end architecture;

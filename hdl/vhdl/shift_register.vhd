-- The pad's register: parallel in, serial out, loaded without the clock while load is high
-- (4021 family; truth table of the CD4021B data sheet, SCHS024).
--
-- Bit 0 of inputs is stage 1, which serial enters; the last stage is the output and is read first.
library ieee;
use ieee.std_logic_1164.all;

entity shift_register is
    generic (STAGES : positive := 8);
    port (
        load   : in  std_logic;
        clock  : in  std_logic;
        serial : in  std_logic;
        inputs : in  std_logic_vector(STAGES - 1 downto 0);
        data   : out std_logic
    );
end entity;

architecture rtl of shift_register is
    signal chain : std_logic_vector(STAGES downto 0);  -- chain(n) is what stage n + 1 shifts from
begin
    chain(0) <= serial;

    each : for n in 0 to STAGES - 1 generate
        -- inputs in the list: one that moves during the load is followed.
        process (clock, load, inputs(n))
        begin
            if load = '1' then
                chain(n + 1) <= inputs(n);
            elsif rising_edge(clock) then
                chain(n + 1) <= chain(n);
            end if;
        end process;
    end generate;

    data <= chain(STAGES);
end architecture;

; Reads the pad on the first port once: eight reads, a bit each. Result in A.
; The loop ends when the 1 that was put in first comes out at the top.

port    = $4016
buttons = $00

read:
        lda #$01
        sta port            ; latch high: the register loads
        sta buttons         ; a marker that eight shifts push out
        lsr a
        sta port            ; latch low: from here each read shifts
loop:
        lda port            ; bit 0 is the button, 1 = pressed
        lsr a               ; into the carry
        rol buttons         ; and into the byte; the marker comes out last
        bcc loop
        lda buttons
        rts
; padbench: result A

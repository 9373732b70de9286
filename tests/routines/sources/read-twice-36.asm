; Reads twice and acts only if both passes agree, with 36 cycles a bit: about two and a half scan
; lines a pass. Found by the search in tests/routines/test_exposed.py. On a console that fetches
; samples at its fastest rate both passes can lose a bit and agree.

port    = $4016
old     = $00
first   = $01
buttons = $02
spare   = $10

read:
        sta old
        jsr pass
        lda buttons
        sta first
        jsr pass
        lda buttons
        cmp first
        beq agree
        lda old
agree:
        rts

pass:
        lda #$01
        sta port
        sta buttons
        lsr a
        sta port
loop:
        ldx #$03            ; 22 cycles of bookkeeping
wait:
        dex
        bne wait
        sta spare
        sta spare
        lda port
        lsr a
        rol buttons
        bcc loop
        rts

"""Exports with headers and words in other languages: read right, and no word guessed.

Every service, ward, person and number here is invented; the rows beside an export are
what a perfect intake makes of it.
"""

from pathlib import Path

import pytest

from tests.intake.exports import Files, assert_read

G01_GERMAN = """\
Station;Patienten-Nr.;Pumpe Nr.;Datum;Uhrzeit;Ereignis;Laufrate (ml/h);\
Restvolumen (ml);Akku (%);LED blinkt;Einstichstelle;Lösung;Box verschlossen;Kürzel;\
Bemerkung
Palliativ 2;K-041;SP07;14.09.2026;08:10;Start;0,62;15,0;98;ja;reizlos;klar;ja;MK;
Palliativ 2;K-041;SP07;14.09.2026;12:05;Kontrolle;0,62;12,5;90;ja;reizlos;klar;ja;\
MK;
Palliativ 2;K-041;SP07;14.09.2026;16:00;Kontrolle;0,62;10,0;81;ja;gerötet;klar;nein;\
AB;Pat. klagt
Palliativ 2;K-041;SP07;15.09.2026;08:00;Spritzenwechsel;0,62;15,0;98;ja;geschwollen;\
trüb;ja;AB;
Palliativ 2;K-041;SP07;15.09.2026;12:00;Ende;0,62;12,6;90;nein;;klar;ja;AB;
"""
G02_FRENCH = """\
Service;N° patient;N° pousse-seringue;Date;Heure;Événement;Débit (mL/h);\
Volume restant (mL);Batterie (%);Voyant vert;Point de ponction;Aspect du mélange;\
Boîtier verrouillé;Initiales;Remarques
USP Les Tilleuls;FR-12;PS3;14/09/2026;08h30;Début;0,6;16,0;99;oui;RAS;limpide;oui;\
CD;
USP Les Tilleuls;FR-12;PS3;14/09/2026;12h35;Contrôle;0,6;13,5;92;oui;rougeur;\
limpide;oui;CD;
USP Les Tilleuls;FR-12;PS3;14/09/2026;16h30;Contrôle;0,6;11,2;85;oui;œdème;trouble;\
non;LM;
USP Les Tilleuls;FR-12;PS3;15/09/2026;0h10;Contrôle;0,6;6,6;70;non;;limpide;oui;LM;
USP Les Tilleuls;FR-12;PS3;15/09/2026;08h20;Fin;0,6;1,7;60;oui;douleur;limpide;oui;\
CD;
"""
G03_DUTCH = """\
Afdeling,Patiëntnummer,Pompnummer,Datum,Tijd,Gebeurtenis,Stand (ml/uur),\
Restvolume (ml),Batterij (%),Lampje brandt,Insteekplaats,Oplossing,Paraaf,\
Opmerkingen
Hospice Duin,NL7,P11,14-09-2026,08.15,Start,"0,60","15,5",97,ja,geen bijzonderheden,\
helder,JV,
Hospice Duin,NL7,P11,14-09-2026,12.20,Controle,"0,60","13,0",90,ja,rood,helder,JV,
Hospice Duin,NL7,P11,14-09-2026,16.10,Controle,"0,60","10,8",84,ja,gezwollen,\
troebel,JV,
Hospice Duin,NL7,P11,14-09-2026,20.00,Spuitwissel,"0,60","15,5",97,nee,\
geen bijzonderheden,helder,EB,
"""
G04_SPANISH = """\
Planta;Nº historia;Nº bomba;Fecha;Hora;Tipo;Velocidad (ml/h);Volumen restante (ml);\
Batería;Luz verde;Zona de punción;Aspecto;Caja cerrada;Iniciales;Observaciones
Paliativos;H-33;B2;14/09/2026;08:00;Inicio;0,7;17;100;sí;normal;transparente;sí;RG;
Paliativos;H-33;B2;14/09/2026;12:00;Control;0,7;14,1;92;sí;enrojecimiento;\
transparente;sí;RG;
Paliativos;H-33;B2;14/09/2026;16:00;Control;0,7;11,3;85;no;dolor;turbio;no;RG;parada
Paliativos;H-33;B2;14/09/2026;20:00;Fin;0,7;8,5;80;sí;;transparente;sí;PL;
"""
G05_SWEDISH = """\
Avdelning;Patientnr;Pumpnr;Datum;Klockslag;Händelse;Hastighet (ml/tim);\
Kvarvarande volym (ml);Batteri %;Insticksställe;Signatur
Palliativa;S9;P4;2026-09-14;08:00;Start;0,6;15;98;u.a.;KL
Palliativa;S9;P4;2026-09-14;12:00;Kontroll;0,6;12,6;92;rodnad;KL
Palliativa;S9;P4;2026-09-14;16:00;Kontroll;0,6;10,2;88;svullnad;KL
Palliativa;S9;P4;2026-09-14;20:00;Sprutbyte;0,6;15;98;u.a.;KL
"""
G06_PORTUGUESE = """\
Serviço;Nº processo;Nº bomba;Data;Hora;Evento;Débito (ml/h);Volume restante (ml);\
Bateria;Luz;Local de punção;Solução;Rubrica;Observações
Paliativos;P-7;B1;14/09/2026;08:00;Início;0,6;16;98;sim;sem alterações;límpida;MR;
Paliativos;P-7;B1;14/09/2026;12:00;Verificação;0,6;13,6;90;sim;rubor;límpida;MR;
Paliativos;P-7;B1;14/09/2026;16:00;Verificação;0,6;11,2;84;não;edema;turva;MR;
Paliativos;P-7;B1;14/09/2026;20:00;Fim;0,6;8,8;80;sim;dor;límpida;MR;
"""
G07_ITALIAN = """\
Reparto;Codice paziente;N. pompa;Data;Ora;Evento;Velocità (ml/h);\
Volume residuo (ml);Batteria;Luce verde;Sito;Soluzione;Sigla;Note
Hospice;I-7;B1;14/09/2026;08:00;Inizio;0,6;16;98;sì;nella norma;limpida;MR;
Hospice;I-7;B1;14/09/2026;12:00;Controllo;0,6;13,6;90;sì;arrossamento;limpida;MR;
Hospice;I-7;B1;14/09/2026;16:00;Controllo;0,6;11,2;84;no;gonfiore;torbida;MR;
Hospice;I-7;B1;14/09/2026;20:00;Fine infusione;0,6;8,8;80;sì;dolore;limpida;MR;
"""
G08_DANISH = """\
Afdeling;CPR-kode;Pumpe nr.;Dato;Kl.;Hændelse;Hastighed (ml/t);Restvolumen (ml);\
Batteri;Grønt lys;Indstikssted;Opløsning;Initialer;Bemærkninger
Hospice Nord;D-7;B1;14-09-2026;08.00;Start;0,6;16;98;ja;i.a.;klar;MR;
Hospice Nord;D-7;B1;14-09-2026;12.00;Kontrol;0,6;13,6;90;ja;rødme;klar;MR;
Hospice Nord;D-7;B1;14-09-2026;16.00;Kontrol;0,6;11,2;84;nej;hævelse;uklar;MR;
Hospice Nord;D-7;B1;14-09-2026;20.00;Slut;0,6;8,8;80;ja;smerter;klar;MR;
"""
G09_NORWEGIAN = """\
Avdeling;Pasientnr;Pumpenr;Dato;Klokkeslett;Hendelse;Hastighet (ml/t);\
Restvolum (ml);Batteri;Lys;Innstikksted;Løsning;Signatur;Merknader
Lindring;N-7;B1;14.09.2026;08:00;Oppstart;0,6;16;98;ja;u.a.;klar;MR;
Lindring;N-7;B1;14.09.2026;12:00;Kontroll;0,6;13,6;90;ja;rødhet;klar;MR;
Lindring;N-7;B1;14.09.2026;16:00;Kontroll;0,6;11,2;84;nei;hevelse;blakket;MR;
Lindring;N-7;B1;14.09.2026;20:00;Stoppet;0,6;8,8;80;ja;smerter;klar;MR;
"""

EXPORTS = [
    pytest.param(
        {"Pumpenprotokoll.csv": G01_GERMAN},
        "patient_id driver_id entry checked_at volume_remaining_ml site_signs",
        [
            "K-041 | SP07 | start | 2026-09-14 08:10 | 15 | none",
            "K-041 | SP07 | check | 2026-09-14 12:05 | 12.5 | none",
            "K-041 | SP07 | check | 2026-09-14 16:00 | 10 | redness",
            "K-041 | SP07 | syringe_change | 2026-09-15 08:00 | 15 | swelling",
            "K-041 | SP07 | end | 2026-09-15 12:00 | 12.6 | ",
        ],
        id="German",
    ),
    pytest.param(
        {"suivi PSE septembre.csv": G02_FRENCH},
        "patient_id driver_id entry checked_at volume_remaining_ml site_signs",
        [
            "FR-12 | PS3 | start | 2026-09-14 08:30 | 16 | none",
            "FR-12 | PS3 | check | 2026-09-14 12:35 | 13.5 | redness",
            "FR-12 | PS3 | check | 2026-09-14 16:30 | 11.2 | swelling",
            "FR-12 | PS3 | check | 2026-09-15 00:10 | 6.6 | ",
            "FR-12 | PS3 | end | 2026-09-15 08:20 | 1.7 | pain",
        ],
        id="French",
    ),
    pytest.param(
        {"pompcontroles.csv": G03_DUTCH},
        "patient_id driver_id entry checked_at volume_remaining_ml site_signs",
        [
            "NL7 | P11 | start | 2026-09-14 08:15 | 15.5 | none",
            "NL7 | P11 | check | 2026-09-14 12:20 | 13 | redness",
            "NL7 | P11 | check | 2026-09-14 16:10 | 10.8 | swelling",
            "NL7 | P11 | syringe_change | 2026-09-14 20:00 | 15.5 | none",
        ],
        id="Dutch",
    ),
    pytest.param(
        {"bombas.csv": G04_SPANISH},
        "patient_id driver_id entry checked_at volume_remaining_ml site_signs",
        [
            "H-33 | B2 | start | 2026-09-14 08:00 | 17 | none",
            "H-33 | B2 | check | 2026-09-14 12:00 | 14.1 | redness",
            "H-33 | B2 | check | 2026-09-14 16:00 | 11.3 | pain",
            "H-33 | B2 | end | 2026-09-14 20:00 | 8.5 | ",
        ],
        id="Spanish",
    ),
    pytest.param(
        {"pump.csv": G05_SWEDISH},
        "patient_id driver_id entry checked_at volume_remaining_ml site_signs",
        [
            "S9 | P4 | start | 2026-09-14 08:00 | 15 | none",
            "S9 | P4 | check | 2026-09-14 12:00 | 12.6 | redness",
            "S9 | P4 | check | 2026-09-14 16:00 | 10.2 | swelling",
            "S9 | P4 | syringe_change | 2026-09-14 20:00 | 15 | none",
        ],
        id="Swedish",
    ),
    pytest.param(
        {"b.csv": G06_PORTUGUESE},
        "patient_id driver_id entry checked_at volume_remaining_ml site_signs",
        [
            "P-7 | B1 | start | 2026-09-14 08:00 | 16 | none",
            "P-7 | B1 | check | 2026-09-14 12:00 | 13.6 | redness",
            "P-7 | B1 | check | 2026-09-14 16:00 | 11.2 | swelling",
            "P-7 | B1 | end | 2026-09-14 20:00 | 8.8 | pain",
        ],
        id="Portuguese",
    ),
    pytest.param(
        {"b.csv": G07_ITALIAN},
        "patient_id driver_id entry checked_at volume_remaining_ml site_signs",
        [
            "I-7 | B1 | start | 2026-09-14 08:00 | 16 | none",
            "I-7 | B1 | check | 2026-09-14 12:00 | 13.6 | redness",
            "I-7 | B1 | check | 2026-09-14 16:00 | 11.2 | swelling",
            "I-7 | B1 | end | 2026-09-14 20:00 | 8.8 | pain",
        ],
        id="Italian",
    ),
    pytest.param(
        {"b.csv": G08_DANISH},
        "patient_id driver_id entry checked_at volume_remaining_ml site_signs",
        [
            "D-7 | B1 | start | 2026-09-14 08:00 | 16 | none",
            "D-7 | B1 | check | 2026-09-14 12:00 | 13.6 | redness",
            "D-7 | B1 | check | 2026-09-14 16:00 | 11.2 | swelling",
            "D-7 | B1 | end | 2026-09-14 20:00 | 8.8 | pain",
        ],
        id="Danish",
    ),
    pytest.param(
        {"b.csv": G09_NORWEGIAN},
        "patient_id driver_id entry checked_at volume_remaining_ml site_signs",
        [
            "N-7 | B1 | start | 2026-09-14 08:00 | 16 | none",
            "N-7 | B1 | check | 2026-09-14 12:00 | 13.6 | redness",
            "N-7 | B1 | check | 2026-09-14 16:00 | 11.2 | swelling",
            "N-7 | B1 | end | 2026-09-14 20:00 | 8.8 | pain",
        ],
        id="Norwegian",
    ),
]


@pytest.mark.parametrize(("files", "names", "wanted"), EXPORTS)
def test_an_export_in_another_language_is_read(
    tmp_path: Path, files: Files, names: str, wanted: list[str]
) -> None:
    assert_read(tmp_path, files, names, wanted)

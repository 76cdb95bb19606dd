"""Words of headers and charts in other languages: the plainest ones, and no more.

German, French, Dutch, Spanish, Portuguese, Italian, Swedish, Danish and Norwegian. What
is not here is asked for, and a layout gives it. Words are trade usage, from memory
(common practice, no source).
"""

#: Headers of each column, parted by ``|``.
HEADERS = {
    "ward": "station|abteilung|bereich|unité|secteur|afdeling|planta|unidad|servicio|"
    "avdelning|enhet|avdeling|serviço|unidade|reparto|unità",
    "patient_id": "patienten nr|patientennummer|patientennr|patienten id|fallnummer|"
    "fallnr|n patient|no patient|numéro patient|id patient|patiëntnummer|patiëntnr|"
    "patnr|patiënt|no historia|historia|nhc|paciente|código paciente|patientnr|"
    "patient nr|patientnummer|pasient|pasientnr|pasientnummer|cpr kode|no processo|"
    "n processo|utente|no utente|paziente|codice paziente|id paziente",
    "driver_id": "pumpe|pumpe nr|pumpennr|pumpen nr|pumpennummer|gerätenr|geräte nr|"
    "gerätenummer|spritzenpumpe|pousse seringue|no pousse seringue|n pousse seringue|"
    "pse|no pse|n pse|pompe|no pompe|n pompe|pomp|pompnummer|pompnr|bomba|no bomba|"
    "n bomba|pump nr|pumpnr|pumpnummer|pumpenr|pompa|n pompa|numero pompa",
    "infusion_id": "spritze nr|spritzennr|spritzen nr|infusion nr|no seringue|"
    "n seringue|spuitnummer|spuit nr|no jeringa|sprutnr|sprøjte nr|sprøytenr|"
    "no seringa|n siringa",
    "entry": "ereignis|vorgang|événement|type d événement|gebeurtenis|"
    "soort controle|art|art der kontrolle|evento|tipo|tipo de registro|händelse|"
    "hændelse|hendelse",
    "checked_at": "datum|uhrzeit|zeit|zeitpunkt|datum uhrzeit|heure|date heure|"
    "date et heure|horodatage|tijd|tijdstip|datum tijd|datum en tijd|fecha|hora|"
    "fecha y hora|fecha hora|klockslag|tid|tidpunkt|datum tid|dato|kl|klokkeslett|"
    "klokkeslæt|tidspunkt|dato tid|data|data e hora|data hora|ora|data e ora|data ora",
    "set_rate_ml_h": "laufrate|förderrate|flussrate|infusionsrate|geschwindigkeit|"
    "débit|vitesse|stand ml uur|stand ml u|stand ml h|pompstand|"
    "snelheid|loopsnelheid|velocidad|ritmo|hastighet|"
    "infusionshastighet|hastighed|velocidade|débito|velocità|flusso",
    "volume_remaining_ml": "restvolumen|restmenge|verbleibendes volumen|"
    "volume restant|volume restante|volume résiduel|restvolume|"
    "resterend volume|volumen restante|"
    "kvarvarande volym|restvolym|återstående volym|volym kvar|resterende volumen|"
    "rest ml|restvolum|gjenværende volum|volume residuo|volume rimanente",
    "volume_delivered_ml": "infundiertes volumen|verabreichtes volumen|"
    "volume perfusé|volume administré|toegediend volume|ingelopen volume|"
    "volumen infundido|volumen administrado|infunderad volym|given volym|"
    "infunderet volumen|infundert volum|volume infundido|volume administrado|"
    "gitt volum|givet volumen|volume infuso|volume somministrato",
    "start_volume_ml": "startvolumen|anfangsvolumen|volume initial|beginvolume|"
    "volumen inicial|startvolym|startvolum|volume inicial|volume iniziale",
    "planned_duration_h": "laufzeit|durée|looptijd|duración|drifttid|varighet|"
    "varighed|duração|durata",
    "battery_pct": "akku|batterie|akkustand|batterij|batería|bateria|batteri|batteria",
    "running": "led blinkt|pumpe läuft|läuft|voyant vert|voyant|lampje|lampje brandt|"
    "luz verde|luz|lampa|lampa blinkar|grønt lys|lys|lampe|luce verde|luce",
    "site_signs": "einstichstelle|punktionsstelle|point de ponction|"
    "site de ponction|état du site|insteekplaats|insteekopening|zona de punción|"
    "punto de punción|insticksställe|stickställe|indstikssted|innstikksted|"
    "stikksted|local de punção|sito|sito di inserzione",
    "site_location": "lokalisation|körperstelle|localisation|plaats|localización|"
    "ubicación|lokalisering|placering|plassering|localização|sede",
    "solution_appearance": "lösung|aussehen|aspect|aspect du mélange|"
    "aspect de la solution|oplossing|aspecto|aspecto de la solución|lösning|"
    "opløsning|løsning|solução|soluzione|aspetto",
    "lockbox_locked": "box verschlossen|verschlossen|abgeschlossen|"
    "boîtier verrouillé|coffret fermé|kastje op slot|op slot|caja cerrada|låst|"
    "låda låst|boks låst|caixa fechada|cassetta chiusa",
    "label_present": "etikett|étiquette|etiket|etiqueta|etichetta|etikette",
    "checked_by": "kürzel|handzeichen|unterschrift|initiales|infirmier|infirmière|"
    "paraaf|verpleegkundige|iniciales|firma|signatur|initialer|rubrica|sigla",
    "note": "bemerkung|bemerkungen|anmerkung|anmerkungen|kommentar|remarques|"
    "remarque|commentaire|opmerkingen|opmerking|observaciones|anmärkning|"
    "bemærkninger|merknader|bemerkninger|observações|osservazioni",
}

YES = "sí|sì|sim|an"
NO = "nee|nej|nei|não|nao|aus"

ENTRY = {
    "start": "gestartet|beginn|neue spritze|début|debut|mise en route|pose|"
    "pose de seringue|"
    "pose seringue|mise en place|anlage|angelegt|aansluiten|aangesloten|gestart|"
    "nieuwe spuit|inicio|startad|ny spruta|uppstart|oppstart|startet|ny sprøyte|"
    "opstart|ny sprøjte|início|inizio|avvio",
    "check": "kontrolle|contrôle|surveillance|controle|control|kontroll|tillsyn|"
    "kontrol|tilsyn|verificação|controllo",
    "rate_change": "ratenänderung|rate geändert|changement de débit|standwijziging|"
    "stand gewijzigd|cambio de velocidad|hastighetsändring|hastighedsændring|"
    "hastighetsendring|alteração de débito|cambio velocità",
    "syringe_change": "spritzenwechsel|changement de seringue|spuitwissel|"
    "cambio de jeringa|sprutbyte|byte av spruta|sprøjteskift|sprøytebytte|"
    "sprøyteskift|troca de seringa|cambio siringa",
    "pause": "pausiert|unterbrochen|mise en pause|gepauzeerd|pauze|pausa|pausad|pauset",
    "resume": "fortgesetzt|wieder gestartet|reprise|hervat|reanudado|återstartad|"
    "genoptaget|gjenopptatt|retomado|ripreso",
    "end": "ende|beendet|gestoppt|abgenommen|fin|arrêt|arrêté|retrait|dépose|ablage|"
    "entfernt|verwijderd|afgekoppeld|einde|gestopt|"
    "beëindigd|finalizado|slut|avslutad|stoppad|stoppet|avsluttet|afsluttet|fim|"
    "terminato|fine infusione",
}

SOLUTION = {
    "clear": "klar|limpide|helder|transparente|claro|clara|límpida|límpido|limpida|"
    "limpido|klart",
    "cloudy": "trüb|trouble|troebel|turbio|turbia|turva|turvo|torbida|torbido|uklar|"
    "grumlig|blakket",
    "crystals": "kristalle|ausgefallen|cristaux|kristallen|cristales|kristaller|"
    "cristais|cristalli",
}

#: Words for the look of a site, each one word.
SIGNS = {
    "redness": "gerötet|rötung|rougeur|rouge|rood|roodheid|enrojecimiento|"
    "enrojecido|rojo|rodnad|rød|rødme|rødhet|rubor|arrossamento|arrossato",
    "swelling": "geschwollen|schwellung|gonflement|œdème|oedème|gezwollen|zwelling|"
    "hinchazón|svullnad|svullen|hævelse|hævet|hevelse|inchaço|inchado|gonfiore|gonfio",
    "hardness": "verhärtung|verhärtet|verharding|verhard|induración|förhårdnad|"
    "endurecimento|indurimento",
    "pain": "schmerz|schmerzen|schmerzhaft|douleur|douloureux|pijn|pijnlijk|dolor|"
    "doloroso|smärta|smerter|smerte|dor|dolore|dolente",
    "leakage": "undicht|nass|fuite|écoulement|lekkage|lekt|húmedo|läckage|lækage|"
    "lekkasje|perdita",
    "bruising": "hämatom|bluterguss|hématome|hematoom|hematom|blåmärke",
    "bleeding": "blutung|saignement|bloeding|sangrado|blödning|blødning|sangramento|"
    "sanguinamento",
}
NOTHING = frozenset({"reizlos", "unauffällig", "reizfrei"})
NOTHING_PHRASES = frozenset(
    {"o.b", "ohne befund", "ras", "r.a.s", "rien à signaler", "geen bijzonderheden",
     "g.b", "sin alteraciones", "u.a", "ua", "utan anmärkning", "i.a",
     "intet at bemærke", "sem alterações", "nella norma", "nulla da segnalare",
     "keine", "ingen", "inga", "aucune", "aucun", "nessuna", "nessuno", "ninguna",
     "nenhuma"}
)  # fmt: skip
NEGATIONS = frozenset(
    {"keine", "kein", "pas", "aucune", "aucun", "geen", "sin", "ingen", "inga",
     "inget", "inte", "ikke", "nicht", "niet", "sem", "senza", "nessun", "nessuna",
     "ohne"}
)  # fmt: skip
#: Words of degree, and those that join two signs.
FILLERS = frozenset(
    {"leicht", "leichte", "etwas", "légère", "léger", "légèrement", "licht", "lichte",
     "iets", "beetje", "leve", "ligero", "ligera", "lätt", "lite", "let", "litt",
     "lieve", "de", "und", "et", "en", "e", "y", "och", "og"}
)  # fmt: skip

LOCATION = {
    "abdomen": "bauch|buik|ventre|vientre|buk|mage|barriga|addome",
    "upper arm": "oberarm|bras|bovenarm|brazo|överarm|overarm|braço|braccio",
    "thigh": "oberschenkel|cuisse|bovenbeen|muslo|lår|coxa|coscia",
    "chest": "brust|thorax|borst|pecho|bröst|bryst|peito|torace",
    "back": "rücken|dos|rug|espalda|rygg|ryg|costas|schiena",
}
SIDES = (
    "links|rechts|li|re|gauche|droite|droit|izquierdo|derecho|izquierda|derecha|"
    "vänster|höger|venstre|højre|høyre|esquerdo|direito|esquerda|direita|sinistra|"
    "destra|sinistro|destro"
)

#: An hour and a day in the unit of a rate.
HOUR = "std|stunde|uur|tim|timme|t|hora|heure|ora"
DAY = "tag|dag|jour|dygn|døgn|día|dia|giorno|etmaal"

#: Names of the months from January on; short forms are those they begin with.
MONTHS = (
    "januar|jänner|janvier|januari|enero|janeiro|gennaio|januari",
    "februar|février|februari|febrero|fevereiro|febbraio",
    "märz|mars|maart|mrt|marzo|março|marts",
    "april|avril|abril|aprile",
    "mai|mei|mayo|maio|maggio|maj",
    "juni|juin|junio|junho|giugno",
    "juli|juillet|julio|julho|luglio",
    "august|août|augustus|agosto|augusti",
    "september|septembre|septiembre|setembro|settembre",
    "oktober|octobre|octubre|outubro|ottobre",
    "november|novembre|noviembre|novembro",
    "dezember|décembre|december|diciembre|dezembro|dicembre|desember",
)
#: Days of the week; those of two letters have a mark behind them.
WEEKDAYS = (
    "montag|dienstag|mittwoch|donnerstag|freitag|samstag|sonnabend|sonntag|lundi|mardi|"
    "mercredi|jeudi|vendredi|samedi|dimanche|maandag|dinsdag|woensdag|donderdag|"
    "vrijdag|zaterdag|zondag|lunes|martes|miércoles|jueves|viernes|sábado|domingo|"
    "mandag|tirsdag|onsdag|torsdag|fredag|lørdag|søndag|måndag|tisdag|lördag|söndag|"
    "segunda-feira|terça-feira|quarta-feira|quinta-feira|sexta-feira|lunedì|martedì|"
    "mercoledì|giovedì|venerdì|sabato|domenica|(?:mo|di|mi|do|fr|sa|so)[.,]"
)
#: What stands between a day and its time.
AT = r"um|à|om|kl\.?|alle|a las|às|ore"
#: What stands behind a clock time.
OCLOCK = "uhr|uur"

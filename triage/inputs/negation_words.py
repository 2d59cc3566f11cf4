"""Words that deny, and those that end, use up or turn round what a denying word says."""

from triage.inputs.word_forms import word_set

NO = word_set(
    """
    no without zero neither nor none nothing nothings any nowhere not never nobody nobodys noone cant
    cannot dont doesnt didnt isnt wasnt arent werent hasnt havent hadnt wont aint couldnt wouldnt nope
    sin ni ningun ninguna ninguno tampoco cero nada nadie nunca jamas
    """
)
NOT_A_NO = word_set(
    """
    stop stops stopped stopping quit quits only just merely joke joking kidding know knows sure longer
    doubt idea clue wonder wait way man yeah listen seriously really supposed matter lie cap believe tell
    told noticed notice want wanna deja dejan dejo para paran solo solamente nomas mas broma bromeo duda
    dudas manches mames inventes pues hombre bueno oiga oye espera espere quiero aguanto aguanta
    """
)
"""After these a "no" denies nothing: "will not stop smoking", "no deja de echar humo", "without a doubt"."""

DEGREE = word_set(
    """
    big bad huge much very strong deep too that serious lot lots bunch bit all every everyone everybody
    always muy tan mucho mucha muchos muchas fuerte gran grande grave honda hondo tanto tanta todo todos
    siempre poco
    """
)
"""A "no" to these says how much, not whether: "not a big shock", "no es muy honda la cortada"."""

LITTLE = word_set("a an the so is it its es esta fue era una un la el real")
I_KNOW = word_set(
    """
    si que como donde cuando por de cual bien exactamente pero y
    """
)
"""After "no se", when it is "no sé", I don't know, and not "no se mojó", it did not get wet."""

ENDS = word_set(
    """
    but however though although because cause cuz bc since then theres there so now just only if when and
    while after whenever plus also still yet instead please help thats whats pero sino aunque porque pq
    xq entonces ahora ahorita cuando si y hay ay ai nomas solo solamente simplemente puro mientras luego
    despues tambien ademas ayuda oiga
    """
)
EXCEPT = word_set("until till til unless except hasta excepto salvo")
WHEN = word_set("when if while after where cuando si donde con")
ONLY = word_set("only just solo solamente nomas mas")
NEVER = word_set("never nunca jamas")
BEFORE = word_set("before antes")
"""What is denied up to these was so after all: "no shock until today", "only when wet", "never before"."""

TODAY = word_set("hoy ahora ahorita ayer today")
HARDLY = word_set("hardly barely scarcely apenas")
ASKING = word_set("dont doesnt didnt isnt wasnt arent werent hasnt havent")
ASKED = word_set("i we you he she they that")
"""After these turned round it is a question that wants a yes: "didn't you hear it is smoking"."""

CANNOT = word_set("cant cannot couldnt")
WHETHER = word_set("if whether")
PERCEIVE = word_set("see smell find hear feel notice say tell detect")
DOUBLE = word_set("without sin nada nadie ningun ninguna ninguno")
"""After another "no" these deny nothing more: "cannot touch it without a shock", "no enfria nada"."""

SPENT = word_set(
    """
    work works working worked function functions functioning cool cools cooling freeze freezes freezing
    run runs running turn turns start starts starting come power moving move right good normal safe okay
    ok usual funciona funcionan funcionando sirve sirven sirviendo prende prenden enciende enfria
    enfriando congela congelando jala trabaja arranca bien normal seguro mueve
    """
)
"""What a "no" is spent on, with its particle: "it does not work burning smell"."""

SUBJECT = word_set(
    """
    i im ive we weve he hes she shes they theyre theres its youll someone somebody my yo
    """
)
VERB = word_set(
    """
    huele sale salen echa hay esta estan se me le siento veo tiene trae suena da dio echan hizo ta bota
    botando echando tira
    """
)
IT = word_set(
    """
    is was has just keeps started starts smells smelled gave gives looks sounds feels still also shocks
    zaps shocked zapped sparks sparked popped smokes caught got stinks
    """
)
OF_A_CLAUSE = word_set(
    """
    think thinks believe say says said know look looks looked like see saw seen seem seems feel sign
    claim hear que creo creemos dice dicen dijo parece pienso veo vi vemos vio mire siquiera
    """
)
"""After these a clause belongs to the "no": "I don't think it is smoking"."""

CLITIC = word_set(
    """
    se me le les nos lo la los las te ha han haya he da dan esta estan hay a de que ya ta anda andan bota
    echando botando sale saliendo echa
    """
)
MOST_SCANNED = 12
"""Words behind a "no" among which "until" and its like take it back."""

THERE_IS = word_set("hay ay ai")
OR = word_set("or nor o u ni")
CLAUSE = word_set(
    """
    there theres is it its i we he she they was were are has have had got gets coming comes came see saw
    smells hay sale salen esta estan es me se le nos huele sabe echa tiene tengo vi veo siento the el la
    los las my mi
    """
)
ALONE = word_set("no none nope nada ninguno")
BARE = word_set("no nope nah")
RATHER = word_set("its it theres there i im he she we they thats yo no")
"""After a bare "no" these say what is rather so: "no, it's smoking"."""

PAST = frozenset(
    {
        ("last", "year"),
        ("last", "summer"),
        ("last", "winter"),
        ("last", "spring"),
        ("last", "fall"),
        ("last", "month"),
        ("years", "ago"),
        ("months", "ago"),
        ("old", "machine"),
        ("ano", "pasado"),
        ("verano", "pasado"),
        ("invierno", "pasado"),
        ("mes", "pasado"),
        ("anos", "atras"),
        ("maquina", "vieja"),
        ("maquina", "anterior"),
    }
)
NO_MORE = ("no", "hay")
SETTLED = word_set(
    """
    fixed changed replaced repaired over away care since none gone solved cleared cambio cambiaron
    arreglo arreglaron reparo repararon llevaron quito quitaron resolvio
    """
)
AGAIN = word_set(
    """
    again still otra sigue siguen todavia aun now ahora ahorita hoy today tambien too
    """
)
